"""NMEA 2000: every worked frame of the reference values, and what must be refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.can.bus import BusDecoder
from logger.decode.can.fast_packet import FastPacket
from logger.decode.can.frames import EXTENDED, Frame, batch_of
from logger.decode.can.pgn import PgnDecoder
from logger.decode.can.pgn_channels import PgnNames
from logger.decode.can.pgn_id import pgn_of, split
from logger.decode.can.pgn_table import GROUPS
from logger.decode.counters import Counters
from logger.reading import Block, Row, UtcFix
from tests.support.single_frames import feed_one


def can_id(pgn: int, source: int = 0x21, priority: int = 2) -> int:
    return EXTENDED | priority << 26 | pgn << 8 | source


def packets(payload: bytes) -> list[bytes]:
    """A payload as fast-packet frames. Layout: reference values 4.3."""
    frames = [bytes([0x40, len(payload)]) + payload[:6].ljust(6, b"\xff")]
    rest = payload[6:]
    number = 1
    while rest:
        frames.append(bytes([0x40 | number]) + rest[:7].ljust(7, b"\xff"))
        rest, number = rest[7:], number + 1
    return frames


def decode(pgn: int, text: str, names: PgnNames | None = None) -> dict[str, float]:
    """Values by channel, the same by blocks and by rows."""
    payload = bytes.fromhex(text)
    frames = packets(payload) if GROUPS[pgn].fast else [payload]
    rows: dict[str, float] = {}
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"), names)], Counters("bus"))
    for frame in frames:
        for item in feed_one(bus, 7, can_id(pgn), frame):
            if isinstance(item, Row):
                pairs = zip(item.group.channels, item.values, strict=True)
                rows |= {name: value for name, value in pairs if value is not None}
    blocks: dict[str, float] = {}
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"), names)], Counters("bus"))
    for item in bus.feed(batch_of([Frame(7, can_id(pgn), frame, "can0") for frame in frames])):
        if isinstance(item, Block):
            pairs = zip(item.group.channels, item.values[0].tolist(), strict=True)
            blocks |= {name: value for name, value in pairs if not math.isnan(value)}
    assert rows == blocks
    return rows


def close(expected: dict[str, float]) -> object:
    return pytest.approx(expected, rel=1e-12)


# Reference values 4.3, table of frames; sources named there.


def test_battery_status_with_current_and_temperature_absent():
    values = decode(127508, "01B605FF7FFFFF00", PgnNames(pack_instance=1))
    assert values == {"pack_voltage_v": 14.62}


def test_battery_status_from_address_21():
    # 0x19F21421: 51.20 V, -85.3 A, 298.15 K. The bus counts charging as positive.
    assert split(0x19F21421).pgn == 127508
    assert split(0x19F21421).source == 0x21
    values = decode(127508, "000014ABFC777407")
    assert values == {"pack_voltage_v": 51.2, "pack_current_a": 85.3, "pack_temp_c": 25.0}


# The same bytes as the nmea2000 library (2026.10.3) decodes them.


def test_stream_of_an_instrument():
    # set 0.796 rad, drift 115.58 m/s, reference magnetic
    values = decode(129291, "0a11181f262d343b")
    assert values == close(
        {"other_stream_1_set_deg": math.degrees(0.796), "other_stream_1_drift_mps": 115.58}
    )


def test_directions_in_one_message():
    values = decode(130577, "0011181f262d343b424950575e656c73")
    assert values["course_ground_deg"] == pytest.approx(math.degrees(0.796))
    assert values["heading_true_deg"] == pytest.approx(math.degrees(1.5156))
    # 115.58 and 187.54 m/s, 2.2352 rad and 259.5 m/s
    assert values["other_directions_0_set_deg"] == pytest.approx(math.degrees(2.2352))


def test_direct_current_of_a_connection():
    values = decode(127751, "0a11181f262d343b")
    # 796.0 V; 34194.3 A
    assert values["other_dc_17_voltage_v"] == pytest.approx(796.0)
    assert values["other_dc_17_current_a"] == pytest.approx(34194.3)


def test_dc_detail_of_instance_3():
    # inst 3, SOC 100 %, 20 min, rest absent.
    values = decode(127506, "FF03FF64FF1400FFFFFFFF", PgnNames(pack_instance=3))
    assert values == {"pack_soc_frac": 1.0, "other_battery_3_time_left_s": 1200.0}
    values = decode(127506, "FF03FF64FF1400FFFFFFFF")
    assert values == {"other_battery_3_soc_frac": 1.0, "other_battery_3_time_left_s": 1200.0}


def test_dc_detail_in_two_frames():
    # 0x19F21221: 40 0B 07 00 00 4C 62 5F, 41 00 0C 00 C8 00 FF FF: SOC 76, SOH 98, 95 min,
    # 12 mV, 200 Ah.
    frames = [bytes.fromhex("400B0700004C625F"), bytes.fromhex("41000C00C800FFFF")]
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"))], Counters("bus"))
    items = [i for frame in frames for i in feed_one(bus, 1, 0x19F21221 | EXTENDED, frame)]
    assert len(items) == 1
    assert isinstance(items[0], Row)
    values = dict(zip(items[0].group.channels, items[0].values, strict=True))
    assert values == {
        "pack_soc_frac": 0.76,
        "other_battery_0_soh_frac": 0.98,
        "other_battery_0_time_left_s": 95 * 60,
        "other_battery_0_ripple_v": 0.012,
        "other_battery_0_capacity_ah": 200,
    }


def test_position():
    values = decode(129025, "829F49174383" + "6CD2")
    assert values == {"latitude_deg": 39.070093, "longitude_deg": -76.4640445}


def test_magnetic_heading():
    # FF 18 60 FF 7F FF 7F FD: 2.4600 rad magnetic, deviation and variation absent.
    values = decode(127250, "FF1860FF7FFF7FFD")
    assert values == close({"heading_magnetic_deg": math.degrees(2.46)})


def test_engine_room_temperature():
    values = decode(130312, "8E0003B36AFFFFFF")
    assert values == {"other_temperature_engine_room_0_c": 0.0}  # 273.15 K
    named = PgnNames(temperatures={"engine_room.0": "ambient_temp_c"})
    assert decode(130312, "8E0003B36AFFFFFF", named) == {"ambient_temp_c": 0.0}


def test_extended_temperature():
    # 0x15FD0C21: 01 02 03 5F 1B 05 FF FF: 61.537 degC.
    assert pgn_of(0x15FD0C21) == 130316
    values = decode(130316, "0102035F1B05FFFF")
    assert values == close({"other_temperature_engine_room_2_c": 61.537})


def test_engine_dynamic():
    text = "002F06FFFFE37365 05FF7F72100000FFFFFFFFFF06000000 7F7F"
    values = decode(127489, text)
    # oil 158 300 Pa; 296.67 K; 13.81 V; 4210 s; status1 0x0006.
    assert values == close(
        {
            "other_motor_0_oil_pressure_pa": 158300,
            "motor_temp_c": 296.67 - 273.15,
            "other_motor_0_voltage_v": 13.81,
            "other_motor_0_run_time_s": 4210,
            "other_motor_0_status1_count": 6,
            "other_motor_0_status2_count": 0,
        }
    )


def test_out_of_range_position_is_absent_too():
    # Reference values 4.3: 7F FF FF FE into absent too.
    assert decode(129025, "FEFFFF7FFEFFFF7F") == {}


# Own sums by the field lists in reference values 4.3 and the standard's public tables.


def test_motor_speed():
    # 2500 rpm = 10000 x 0.25.
    assert decode(127488, "001027FFFF7FFFFF") == close({"motor_speed_rps": 2500 / 60})
    assert decode(127488, "011027FFFF7FFFFF") == close({"other_motor_1_speed_rps": 2500 / 60})


def test_apparent_wind():
    # 5.43 m/s, 0.7854 rad, reference 2 (apparent).
    values = decode(130306, "001F02AE1E02FFFF"[:16])
    assert values == close(
        {"wind_speed_apparent_mps": 5.43, "wind_angle_apparent_deg": math.degrees(0.7854)}
    )


def test_gearbox():
    # Field order as in reference values' key N2L: instance, gear in 2 bits (2 is reverse), oil
    # pressure x 100 Pa, oil temperature x 0.1 K, status. 4.2 bar, 355.1 K, over-temperature (2).
    assert decode(127493, "00FE6810DF0D02FF") == close(
        {
            "other_gearbox_0_gear_count": 2,
            "other_gearbox_0_oil_pressure_pa": 420_000,
            "other_gearbox_0_oil_temp_c": 355.1 - 273.15,
            "other_gearbox_0_status1_count": 2,
        }
    )


def test_battery_configuration():
    # As in N2L: instance, kind and equalization, nominal voltage and chemistry, capacity x 3600 C
    # (1 Ah), temperature coefficient, Peukert exponent, efficiency %. Its own example there sends
    # gel (1), equalizing (1), 12 V (1), lead acid (0), 420 Ah, 53, 1.251, 75.
    assert decode(127513, "01D101A401357D4B") == close(
        {
            "other_battery_1_kind_count": 1,
            "other_battery_1_equalization_count": 1,
            "other_battery_1_nominal_count": 1,
            "other_battery_1_chemistry_count": 0,
            "other_battery_1_capacity_ah": 420,
            "other_battery_1_efficiency_frac": 0.75,
        }
    )


def test_system_time_gives_a_fix():
    # Reference values 5.2: days 0x4377 = 17271 = 2017-04-15; case 126992 in nmea2000_pgn_cases:
    # FF FF 77 43 50 FA 1C 20 is 14:57:57.
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"))], Counters("bus"))
    items = feed_one(bus, 9, can_id(126992), bytes.fromhex("FFFF774350FA1C20"))
    expected = (17271 * 86400 + 14 * 3600 + 57 * 60 + 57) * 1_000_000
    assert items == [UtcFix(9, expected, "gnss", 1.0)]


def test_local_crystal_clock_gives_no_fix():
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"))], Counters("bus"))
    assert feed_one(bus, 9, can_id(126992), bytes.fromhex("FFF5774350FA1C20")) == []


def test_identifiers():
    # Reference values 4.2.
    first = split(0x0CF00400)
    assert (first.priority, first.pgn, first.source) == (3, 61444, 0)
    assert (split(0x00FEB201).priority, split(0x00FEB201).pgn) == (0, 65202)
    asked = split(0x18EAFF00)
    assert (asked.priority, asked.pgn, asked.destination, asked.source) == (6, 59904, 255, 0)


def test_fast_packet_refuses_what_is_out_of_order():
    counters = Counters("x")
    packet = FastPacket(counters)
    frames = packets(bytes(range(20)))
    assert packet.feed(frames[0]) is None
    assert packet.feed(frames[2]) is None
    assert packet.feed(frames[1]) is None
    assert counters["lost_packet"] == 2
    whole = [packet.feed(frame) for frame in frames]
    assert whole == [None, None, bytes(range(20))]


def test_fast_packet_interleaved_sequences():
    packet = FastPacket(Counters("x"))
    one = packets(bytes(range(13)))
    two = [bytes([f[0] ^ 0x60]) + f[1:] for f in packets(bytes(range(13, 26)))]
    got = [packet.feed(f) for pair in zip(one, two, strict=True) for f in pair]
    assert got == [None, None, bytes(range(13)), bytes(range(13, 26))]


@settings(max_examples=300, deadline=None)
@given(
    pgn=st.sampled_from(sorted(GROUPS)),
    frames=st.lists(st.binary(max_size=8), min_size=1, max_size=8),
)
def test_arbitrary_frames_never_raise_and_blocks_agree_with_rows(pgn: int, frames: list[bytes]):
    one, two = Counters("a"), Counters("b")
    rows = BusDecoder([PgnDecoder("bus", one)], one)
    by_row: dict[tuple[int, str], float] = {}
    for when, frame in enumerate(frames):
        for item in feed_one(rows, when, can_id(pgn), frame):
            if isinstance(item, Row):
                for name, value in zip(item.group.channels, item.values, strict=True):
                    if value is not None:
                        by_row[when, name] = value
    blocks = BusDecoder([PgnDecoder("bus", two)], two)
    batch = batch_of([Frame(w, can_id(pgn), f, "b") for w, f in enumerate(frames)])
    by_block: dict[tuple[int, str], float] = {}
    for item in blocks.feed(batch):
        if isinstance(item, Block):
            for row, when in enumerate(item.t_us.tolist()):
                for name, value in zip(item.group.channels, item.values[row], strict=True):
                    if not np.isnan(value):
                        by_block[when, name] = float(value)
    assert by_row == by_block
