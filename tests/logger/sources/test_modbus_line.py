"""Modbus RTU: pymodbus' own server answers over a pair of ptys."""

import asyncio
import os
import pty
import select
import struct
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.registers import ReadPlan, plan, read_register
from logger.errors import BoatFileError, SourceError
from logger.reading import Row
from logger.sources.modbus_line import open_source
from logger.sources.options import Options


def words(layout: str, value: float) -> list[int]:
    packed = struct.pack(f">{layout}", value)
    return list(struct.unpack(f">{len(packed) // 2}H", packed))


FLOAT = words("f", 51.25)
HOLDING = [
    SimData(16, values=[5120, 0xFFF6], datatype=DataType.REGISTERS),  # 51.20 V, -10
    SimData(18, values=words("i", -123456), datatype=DataType.REGISTERS),
    SimData(20, values=words("i", -123456)[::-1], datatype=DataType.REGISTERS),
    SimData(22, values=FLOAT, datatype=DataType.REGISTERS),
    SimData(24, values=[9999], datatype=DataType.REGISTERS),
    SimData(40, values=[77], datatype=DataType.REGISTERS),
]


class Line:
    """Two ptys whose bytes go to each other, and a server at one end."""

    def __init__(self) -> None:
        self._ends = [pty.openpty(), pty.openpty()]
        for master, slave in self._ends:
            tty.setraw(master)
            tty.setraw(slave)
        self.client_port, server_port = (os.ttyname(slave) for _, slave in self._ends)
        self._on = True
        threading.Thread(target=self._pump, daemon=True).start()
        self._loop = asyncio.new_event_loop()
        started = threading.Event()

        async def serve() -> None:
            device = SimDevice(7, simdata=HOLDING)
            self._server = ModbusSerialServer(device, port=server_port, baudrate=19200)
            await self._server.serve_forever(background=True)
            started.set()

        def run() -> None:
            self._loop.run_until_complete(serve())
            self._loop.run_forever()

        self._thread = threading.Thread(target=run, daemon=True)
        self._thread.start()
        assert started.wait(10)

    def _pump(self) -> None:
        masters = [master for master, _ in self._ends]
        while self._on:
            for source in select.select(masters, [], [], 0.1)[0]:
                try:
                    os.write(masters[source == masters[0]], os.read(source, 1024))
                except OSError:
                    return

    def close(self) -> None:
        asyncio.run_coroutine_threadsafe(self._server.shutdown(), self._loop).result(10)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._loop.close()
        self._on = False
        time.sleep(0.15)
        for pair in self._ends:
            for end in pair:
                os.close(end)


@pytest.fixture(scope="module")
def line() -> Iterator[Line]:
    found = Line()
    yield found
    found.close()


def register(**entry: object) -> dict[str, object]:
    return {"device": 7, "period_s": 0.1, **entry}


def options(line: Line, *registers: dict[str, object]) -> Options:
    table = {"port": line.client_port, "parity": "N", "register": list(registers)}
    return Options("charger", table, Path())


def values(line: Line, counters: Counters, *registers: dict[str, object]) -> dict[str, float]:
    source = open_source(options(line, *registers), counters, None)
    found: dict[str, float] = {}
    for _ in range(4):
        for item in source.read(0.1) or []:
            assert isinstance(item, Row)
            pairs = zip(item.group.channels, item.values, strict=True)
            found |= {name: value for name, value in pairs if value is not None}
    source.close()
    return found


def test_registers_of_a_real_server(line: Line):
    counters = Counters("charger")
    got = values(
        line,
        counters,
        register(address=16, channel="pack_voltage_v", unit="V", scale=0.01),
        register(address=17, type="s16", channel="pack_current_a", unit="A", sign=-1),
        register(address=18, type="s32", channel="other_a_w", unit="W"),
        register(
            address=20, type="s32", word_order="little", channel="other_b_w", unit="W", scale=0.1
        ),
        register(address=22, type="f32", channel="controller_voltage_v", unit="V"),
        register(address=24, channel="ambient_temp_c", unit="degC", scale=0.1),  # 999.9 °C
        register(address=40, channel="motor_temp_c", unit="degC", low=0, high=50),  # 77 °C
    )
    assert got == {
        "pack_voltage_v": 51.2,
        "pack_current_a": 10.0,
        "other_a_w": -123456.0,
        "other_b_w": -12345.6,
        "controller_voltage_v": 51.25,
    }
    assert counters["out_of_limits"] >= 2
    assert counters["frames"] >= 2


def test_device_that_is_not_there_is_counted_and_the_others_go_on(line: Line):
    counters = Counters("charger")
    got = values(
        line,
        counters,
        register(address=16, channel="other_x_count", device=9),
        register(address=16, channel="pack_voltage_v", unit="V", scale=0.01),
    )
    assert got == {"pack_voltage_v": 51.2}
    assert counters["no_answer"] + counters["refused"] >= 1


def test_register_that_is_not_there_is_counted(line: Line):
    counters = Counters("charger")
    assert values(line, counters, register(address=5000, channel="other_x_count")) == {}
    assert counters["refused"] >= 1


def test_port_that_is_not_there_is_said(tmp_path: Path):
    table = {"port": str(tmp_path / "none"), "register": [register(address=1, channel="other_x_v")]}
    table["register"][0]["unit"] = "V"  # type: ignore[index]
    with pytest.raises(SourceError, match="wants a serial port"):
        open_source(Options("x", table, Path()), Counters("x"), None)


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ({"address": 70000}, "address: wants a whole number 0 to 65535"),
        ({"address": 1, "function": 6}, "function: wants a whole number 1 to 4, got 6"),
        ({"address": 1, "type": "u8"}, "type: wants one of u16"),
        ({"address": 1, "type": "bit"}, "for functions 1 and 2"),
        ({"address": 1, "word_order": "middle"}, "word_order"),
        ({"address": 1, "scale": 0}, "scale: wants a number other than 0"),
        ({"address": 1, "write": 1}, "got 'write'"),
        ({"address": 1, "channel": "pack_voltage_v"}, "wants unit"),
    ],
)
def test_wrong_registers_are_named(entry: dict[str, object], text: str):
    table = {"channel": "other_x_count", **entry}
    with pytest.raises(BoatFileError, match=text):
        read_register(Options("charger, register 1", table, Path()))


def test_neighbours_are_asked_together():
    entries = [
        {"address": a, "channel": f"other_r{a}_count"} for a in (10, 11, 19, 300, 301, 395, 402)
    ]
    registers = [read_register(Options("x", entry, Path())) for entry in entries]
    plans = plan("x", registers, Counters("x"))
    assert [(p.address, p.count) for p in plans] == [(10, 10), (300, 2), (395, 8)]


KINDS = ["u16", "s16", "u32", "s32", "u64", "s64", "f32", "f64"]


@settings(max_examples=300, deadline=None)
@given(
    kinds=st.lists(st.sampled_from(KINDS), min_size=1, max_size=5),
    answer=st.lists(st.integers(0, 0xFFFF), min_size=20, max_size=20),
    order=st.sampled_from(["big", "little"]),
)
def test_arbitrary_registers_never_raise_nor_pass_limits(
    kinds: list[str], answer: list[int], order: str
):
    registers, address = [], 0
    for number, kind in enumerate(kinds):
        channel = ("pack_voltage_v", "motor_temp_c")[number] if number < 2 else f"other_{number}_v"
        unit = "degC" if number == 1 else "V"
        entry = {"address": address, "type": kind, "channel": channel, "unit": unit,
                 "word_order": order}  # fmt: skip
        registers.append(read_register(Options("x", entry, Path())))
        address += registers[-1].words
    one = ReadPlan("x", registers, Counters("x"))
    for name, value in zip(one.group.channels, one.values(answer) or (), strict=False):
        channel = find(name)
        assert channel
        assert value is None or channel.low <= value <= channel.high


# The line's own bytes, without any Modbus library at the other end. Reference values 4.5:
# request 11 03 00 7C 00 02 07 43; reply 11 03 04 00 8D 00 8E FB BD; exception 11 83 02 C1 34.


@pytest.mark.parametrize(
    ("answer", "values_got", "cause"),
    [
        ("1103 04 008D 008E FBBD", {"other_a_count": 141.0, "other_b_count": 142.0}, "frames"),
        ("1183 02 C134", {}, "refused"),
        ("1103 04 008D 008E FBBE", {}, "no_answer"),  # a wrong check sum
        ("1203 04 008D 008E C8BD", {}, "no_answer"),  # another device's
        ("", {}, "no_answer"),
    ],
)
def test_worked_frames(answer: str, values_got: dict[str, float], cause: str):
    master, slave = pty.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    asked: list[bytes] = []

    def device() -> None:
        got = b""
        while len(got) < 8:
            got += os.read(master, 8)
        asked.append(got)
        os.write(master, bytes.fromhex(answer))

    thread = threading.Thread(target=device)
    thread.start()
    table = {
        "port": os.ttyname(slave),
        "parity": "N",
        "timeout_s": 0.5,
        "register": [
            {"device": 17, "address": 0x7C, "channel": "other_a_count", "period_s": 60},
            {"device": 17, "address": 0x7D, "channel": "other_b_count", "period_s": 60},
        ],
    }
    counters = Counters("x")
    source = open_source(Options("x", table, Path()), counters, None)
    rows = [row for row in source.read(0.05) or [] if isinstance(row, Row)]
    thread.join()
    source.close()
    os.close(slave)
    os.close(master)
    assert asked == [bytes.fromhex("1103007C00020743")]
    got = {n: v for row in rows for n, v in zip(row.group.channels, row.values, strict=True)}
    assert got == values_got
    assert counters[cause] == 1
