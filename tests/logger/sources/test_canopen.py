"""CANopen: the canopen library's own node is the peer, on python-can's virtual bus."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import can
import canopen
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.bus import from_options
from logger.decode.can.canopen_node import CanopenDecoder
from logger.decode.counters import Counters
from logger.errors import BoatFileError, SourceError
from logger.reading import Block, Row
from logger.sources import can_bus
from logger.sources.options import Options
from logger.sources.sdo import Gate, SdoRead

NODE = 5


def variable(index: str, name: str, kind: str, default: str = "", mapped: int = 1) -> str:
    return (
        f"[{index}]\nParameterName={name}\nObjectType=0x7\nDataType={kind}\n"
        f"AccessType=rw\nDefaultValue={default}\nPDOMapping={mapped}\n\n"
    )


def record(index: str, name: str, entries: list[tuple[str, str, str]]) -> str:
    head = f"[{index}]\nParameterName={name}\nObjectType=0x9\nSubNumber={len(entries)}\n\n"
    return head + "".join(
        variable(f"{index}sub{sub}", what, kind, default, 0)
        for sub, (what, kind, default) in enumerate(entries)
    )


# An invented drive. Objects 606C, 6079, 6041 as in reference values 4.4 (CiA 402).
EDS = (
    "[FileInfo]\nFileName=drive.eds\nFileVersion=1\nFileRevision=1\nEDSVersion=4.0\n\n"
    "[DeviceInfo]\nVendorName=Invented\nProductName=Invented drive\nBaudRate_250=1\n"
    "NrOfRXPDO=0\nNrOfTXPDO=1\n\n"
    "[MandatoryObjects]\nSupportedObjects=2\n1=0x1000\n2=0x1001\n\n"
    + variable("1000", "Device type", "0x7", "0", 0)
    + variable("1001", "Error register", "0x5", "0", 0)
    + "[OptionalObjects]\nSupportedObjects=7\n1=0x1014\n2=0x1017\n3=0x1800\n4=0x1A00\n5=0x6041\n"
    "6=0x606C\n7=0x6079\n\n"
    + variable("1014", "COB-ID EMCY", "0x7", "$NODEID+0x80", 0)
    + variable("1017", "Producer heartbeat time", "0x6", "0", 0)
    + record("1800", "TPDO1 setting", [("Highest sub-index", "0x5", "2"),
                                        ("COB-ID", "0x7", "$NODEID+0x180"),
                                        ("Transmission type", "0x5", "255")])
    + record("1A00", "TPDO1 mapping", [("Number of objects", "0x5", "2"),
                                        ("First", "0x7", "0x606C0020"),
                                        ("Second", "0x7", "0x60790020")])
    + variable("6041", "Status word", "0x6", "0")
    + variable("606C", "Velocity actual value", "0x4", "0")
    + variable("6079", "DC link circuit voltage", "0x7", "0")
)  # fmt: skip
SIGNALS: dict[str, Any] = {
    "0x606C": {"channel": "motor_speed_rps", "unit": "rpm", "sign": -1},
    "DC link circuit voltage": {"channel": "controller_voltage_v", "unit": "mV"},
    "0x6041": {"channel": "other_status_code"},
    "emergency": {"channel": "controller_fault_code"},
}


@pytest.fixture(scope="module")
def eds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("eds") / "drive.eds"
    path.write_text(EDS)
    return path


@pytest.fixture
def peer(eds: Path) -> Iterator[canopen.LocalNode]:
    network = canopen.Network()
    network.connect(interface="virtual", channel="canopen")
    node = network.create_node(NODE, str(eds))
    yield node
    network.disconnect()


@pytest.fixture
def sniffer() -> Iterator[can.BusABC]:
    with can.Bus(interface="virtual", channel="canopen") as bus:
        yield bus


def open_can(eds: Path, **entry: object) -> can_bus.CanSource:
    table = {
        "interface": "virtual",
        "channel": "canopen",
        "decode": [{"eds": eds.name, "node": NODE, "signals": SIGNALS, **entry}],
    }
    return can_bus.open_source(Options("can0", table, eds.parent), Counters("can0"), None)


def values(source: can_bus.CanSource, moments: int = 4) -> dict[str, float | None]:
    found: dict[str, float | None] = {}
    for _ in range(moments):
        for item in source.read(0.1) or []:
            if isinstance(item, Row):
                found |= dict(zip(item.group.channels, item.values, strict=True))
            elif isinstance(item, Block):
                found |= dict(zip(item.group.channels, item.values[-1].tolist(), strict=True))
    return found


def test_process_data_of_a_real_node(eds: Path, peer: canopen.LocalNode):
    source = open_can(eds)
    peer.tpdo.read(from_od=True)
    peer.tpdo[1]["Velocity actual value"].raw = -1500
    peer.tpdo[1]["DC link circuit voltage"].raw = 51_234
    peer.tpdo[1].transmit()
    got = values(source)
    source.close()
    assert got == {"motor_speed_rps": 25.0, "controller_voltage_v": 51.234}


def test_heartbeat_and_emergency_are_readings(eds: Path, peer: canopen.LocalNode):
    source = open_can(eds)
    peer.nmt.start_heartbeat(30)
    # Reference values 4.4: EMCY 01 20 02 00 01 02 03 04: code 0x2001 (current), register 2.
    peer.emcy.send(0x2001, 0x02, bytes([0, 1, 2, 3, 4]))
    got = values(source)
    assert got["controller_fault_code"] == 0x2001
    assert got[f"other_canopen_{NODE}_error_register_code"] == 2
    assert got[f"other_canopen_{NODE}_state_code"] == 0  # the library's node is booting
    peer.nmt.stop_heartbeat()
    peer.emcy.reset()
    assert values(source)["controller_fault_code"] == 0
    source.close()


def test_permitted_uploads_are_asked_and_answered(
    eds: Path, peer: canopen.LocalNode, sniffer: can.BusABC
):
    peer.sdo["Status word"].raw = 0x0237
    source = open_can(eds, sdo=[{"object": "0x6041", "period_s": 0.1}])
    got = values(source)
    source.close()
    assert got["other_status_code"] == 0x0237
    sent = set()
    while (message := sniffer.recv(0.1)) is not None:
        sent.add((message.arbitration_id, bytes(message.data)))
    asked = (0x600 + NODE, bytes.fromhex("4041600000000000"))
    assert asked in sent
    assert {can_id for can_id, _ in sent} == {0x600 + NODE, 0x580 + NODE}


def test_without_sdo_nothing_is_ever_sent(eds: Path, peer: canopen.LocalNode, sniffer: can.BusABC):
    source = open_can(eds)
    values(source, 6)
    source.close()
    assert sniffer.recv(0.2) is None


PERMITTED = (SdoRead(2, 0x1018, 1, 10.0), SdoRead(5, 0x6041, 0, 1.0))


def test_request_is_the_published_one():
    # Reference values 4.4: node 2: 602 40 18 10 01 00 00 00 00.
    assert (PERMITTED[0].can_id, PERMITTED[0].data) == (0x602, bytes.fromhex("4018100100000000"))


@settings(max_examples=500, deadline=None)
@given(
    can_id=st.one_of(st.integers(0, 0x7FF), st.sampled_from([0, 0x602, 0x605, 0x80])),
    data=st.one_of(
        st.binary(max_size=8),
        st.sampled_from([read.data for read in PERMITTED]),
        st.tuples(st.integers(0, 255), st.sampled_from(PERMITTED)).map(
            lambda pair: bytes([pair[0]]) + pair[1].data[1:]
        ),
    ),
)
def test_nothing_but_permitted_uploads_can_leave(can_id: int, data: bytes):
    sent: list[tuple[int, bytes]] = []
    gate = Gate(PERMITTED, lambda i, d: sent.append((i, d)))
    try:
        gate.send(can_id, data)
    except SourceError:
        assert sent == []
    assert all(frame in [(r.can_id, r.data) for r in PERMITTED] for frame in sent)


@pytest.mark.parametrize(
    ("can_id", "data"),
    [
        (0x000, "0105000000000000"),  # NMT start
        (0x000, "0105"),
        (0x080, ""),  # SYNC
        (0x605, "2B171000A00F0000"),  # SDO write of 0x1017, reference values 4.4
        (0x605, "4017100000000000"),  # an upload that nobody allowed
        (0x602, "4041600000000000"),  # a permitted object of another node
        (0x205, "0000000000000000"),  # a receive PDO
    ],
)
def test_everything_else_is_refused(can_id: int, data: str):
    sent: list[int] = []
    with pytest.raises(SourceError, match="only permitted SDO upload"):
        Gate(PERMITTED, lambda i, _: sent.append(i)).send(can_id, bytes.fromhex(data))
    assert sent == []


def test_answers_that_are_no_values_are_counted(eds: Path):
    counters = Counters("x")
    decoder = CanopenDecoder(eds, NODE, "x", counters, SIGNALS)
    handler = decoder.handler(0x580 + NODE)
    assert handler
    assert handler.row(1, bytes.fromhex("8041600000000206")) == []  # abort
    assert handler.row(1, bytes.fromhex("4141600010000000")) == []  # segmented
    assert handler.row(1, bytes.fromhex("4B416000")) == []
    assert handler.row(1, bytes.fromhex("4B18100100000000")) == []  # another object
    assert counters.errors() == {"length": 1, "sdo_abort": 1, "sdo_other": 1}


def test_without_signals_all_mapped_objects_are_kept(eds: Path):
    decoder = CanopenDecoder(eds, NODE, "x", Counters("x"))
    handler = decoder.handler(0x180 + NODE)
    assert handler
    (row,) = handler.row(1, (-7).to_bytes(4, "little", signed=True) + (9).to_bytes(4, "little"))
    assert isinstance(row, Row)
    assert dict(zip(row.group.channels, row.values, strict=True)) == {
        "other_canopen_5_velocity_actual_value_count": -7.0,
        "other_canopen_5_dc_link_circuit_voltage_count": 9.0,
    }


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ({"node": 0}, "node: wants a number 1 to 127, got 0"),
        ({"signals": {"0x9999": "other_x_code"}}, "wants a message and signal of drive.eds"),
        ({"signals": {"0x606C": {"channel": "motor_speed_rps"}}}, "wants unit"),
        ({"signals": {"0x606C": {"channel": "other_x_count", "scale": 0}}}, "scale wants a number"),
        ({"eds": "none.eds"}, "No such file"),
    ],
)
def test_wrong_entries_are_named(eds: Path, entry: dict[str, object], text: str):
    table = {"decode": [{"eds": eds.name, "node": NODE, **entry}]}
    with pytest.raises(BoatFileError, match=text):
        from_options("can0", table, eds.parent, Counters("x"))


@settings(max_examples=200, deadline=None)
@given(can_id=st.integers(0, 0x7FF), data=st.binary(max_size=8))
def test_arbitrary_frames_never_raise(eds: Path, can_id: int, data: bytes):
    global _decoder
    _decoder = _decoder or CanopenDecoder(eds, NODE, "x", Counters("x"))
    for number in (can_id, 0x580 + NODE, 0x180 + NODE, 0x080 + NODE, 0x700 + NODE):
        handler = _decoder.handler(number)
        if handler:
            handler.row(1, data)


_decoder: CanopenDecoder | None = None


def test_quiet_bus_returns_in_time(eds: Path):
    source = open_can(eds)
    begun = time.monotonic()
    assert source.read(0.1) == []
    assert time.monotonic() - begun < 1
    source.close()


def test_the_published_answer_to_an_upload(tmp_path: Path):
    # Reference values 4.4: node 2: 582 43 18 10 01 04 00 00 00 = 4.
    identity = record("1018", "Identity", [("Entries", "0x5", "1"), ("Vendor", "0x7", "4")])
    (tmp_path / "two.eds").write_text(EDS.partition("[")[0] + "[DeviceInfo]\n\n" + identity)
    signals = {"0x1018.1": {"channel": "other_vendor_code"}}
    decoder = CanopenDecoder(tmp_path / "two.eds", 2, "x", Counters("x"), signals)
    handler = decoder.handler(0x582)
    assert handler
    (row,) = handler.row(1, bytes.fromhex("4318100104000000"))
    assert isinstance(row, Row)
    assert dict(zip(row.group.channels, row.values, strict=True)) == {"other_vendor_code": 4.0}


def test_emergencies_come_where_the_eds_file_says(tmp_path: Path):
    (tmp_path / "x.eds").write_text(EDS.replace("$NODEID+0x80\n", "0x0B3\n"))
    decoder = CanopenDecoder(tmp_path / "x.eds", NODE, "x", Counters("x"))
    handler = decoder.handler(0x0B3)
    assert handler
    (row,) = handler.row(1, bytes.fromhex("0120020001020304"))
    assert isinstance(row, Row)
    assert list(row.values) == [0x2001, 2]
    assert decoder.handler(0x080 + NODE) is None


# Reference values 4.4, CiA 418 and 419: temperature in 0.125 degC, voltage in 1/1024 V, charge in
# %; and CiA 402: 6079 in mV, 606C as the maker says.
@pytest.mark.parametrize(
    ("index", "kind", "entry", "raw", "value"),
    [
        ("6010", "0x3", {"channel": "pack_temp_c", "unit": "degC", "scale": 0.125}, "C8000000", 25),
        ("6060", "0x7", {"channel": "pack_voltage_v", "unit": "V", "scale": 1 / 1024}, "00CC0000",
         51),
        ("6081", "0x5", {"channel": "pack_soc_frac", "unit": "%"}, "4C000000", 0.76),
        ("6079", "0x7", {"channel": "controller_voltage_v", "unit": "mV"}, "22C80000", 51.234),
    ],
)  # fmt: skip
def test_objects_of_batteries_and_drives(
    tmp_path: Path, index: str, kind: str, entry: dict[str, object], raw: str, value: float
):
    text = "[DeviceInfo]\n\n" + variable(index, "Object", kind)
    (tmp_path / "x.eds").write_text(text)
    decoder = CanopenDecoder(tmp_path / "x.eds", 5, "x", Counters("x"), {f"0x{index}": entry})
    handler = decoder.handler(0x585)
    assert handler
    place = int(index, 16).to_bytes(2, "little") + b"\0"
    (row,) = handler.row(1, b"\x43" + place + bytes.fromhex(raw))
    assert isinstance(row, Row)
    assert list(row.values) == [pytest.approx(value)]
