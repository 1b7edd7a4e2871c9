"""Published NMEA 2000 messages with their decoded values (nmea2000 library's tests)."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from logger.decode.can.frames import EXTENDED
from logger.decode.can.pgn import PgnDecoder
from logger.decode.can.pgn_table import GROUPS
from logger.decode.counters import Counters
from logger.reading import Block, UtcFix

pytestmark = pytest.mark.field

K = -273.15
# (group, published field) -> channel, and value in the channel's unit = published * a + b.
FIELDS: dict[tuple[int, str], tuple[str, float, float]] = {
    (127245, "position"): ("other_rudder_252_position_deg", 180 / math.pi, 0),
    (127245, "angleOrder"): ("other_rudder_252_angle_order_deg", 180 / math.pi, 0),
    (127258, "variation"): ("variation_deg", 180 / math.pi, 0),
    (127488, "speed"): ("other_motor_1_speed_rps", 1 / 60, 0),
    (127488, "boostPressure"): ("other_motor_1_boost_pa", 1, 0),
    (127489, "oilPressure"): ("other_motor_0_oil_pressure_pa", 1, 0),
    (127489, "temperature"): ("motor_temp_c", 1, K),
    (127489, "oilTemperature"): ("other_motor_0_oil_temp_c", 1, K),
    (127489, "alternatorPotential"): ("other_motor_0_voltage_v", 1, 0),
    (127489, "coolantPressure"): ("other_motor_0_coolant_pressure_pa", 1, 0),
    (127489, "fuelPressure"): ("other_motor_0_fuel_pressure_pa", 1, 0),
    (127489, "totalEngineHours"): ("other_motor_0_run_time_s", 1, 0),
    (127489, "engineLoad"): ("other_motor_0_load_frac", 0.01, 0),
    (127489, "engineTorque"): ("other_motor_0_torque_frac", 0.01, 0),
    (127505, "level"): ("other_tank_0_0_level_frac", 0.01, 0),
    (127508, "voltage"): ("other_battery_1_voltage_v", 1, 0),
    (127508, "current"): ("other_battery_1_current_a", -1, 0),
    (127508, "temperature"): ("other_battery_1_temp_c", 1, K),
    (128259, "speedWaterReferenced"): ("speed_water_mps", 1, 0),
    (128259, "speedGroundReferenced"): ("other_log_speed_ground_mps", 1, 0),
    (128275, "log"): ("other_distance_log_m", 1, 0),
    (128275, "tripLog"): ("other_distance_trip_m", 1, 0),
    (129025, "latitude"): ("latitude_deg", 1, 0),
    (129025, "longitude"): ("longitude_deg", 1, 0),
    (129026, "cog"): ("course_ground_deg", 180 / math.pi, 0),
    (129026, "sog"): ("speed_ground_mps", 1, 0),
    (129029, "latitude"): ("latitude_deg", 1, 0),
    (129029, "longitude"): ("longitude_deg", 1, 0),
    (129029, "altitude"): ("other_gnss_altitude_wgs84_m", 1, 0),
    (129029, "geoidalSeparation"): ("other_gnss_geoid_m", 1, 0),
    (129029, "hdop"): ("other_gnss_hdop_count", 1, 0),
    (129029, "numberOfSvs"): ("other_gnss_satellites_count", 1, 0),
    (130310, "waterTemperature"): ("water_temp_c", 1, K),
    (130310, "outsideAmbientAirTemperature"): ("other_surroundings_air_temp_c", 1, K),
    (130310, "atmosphericPressure"): ("other_surroundings_pressure_pa", 1, 0),
    (130312, "actualTemperature"): ("other_temperature_engine_room_0_c", 1, K),
    (130314, "pressure"): ("other_pressure_0_4_pressure_pa", 1, 0),
    (130316, "temperature"): ("other_temperature_outside_101_c", 1, K),
}
# Published fields that are not kept: selectors, codes, and what no question needs.
LEFT = {
    "reserved", "reserved6", "sid", "instance", "source", "setTemperature", "directionOrder",
    "tiltTrim", "fuelRate", "discreteStatus1", "discreteStatus2", "type", "capacity",
    "speedWaterReferencedType", "speedDirection", "date", "time", "localOffset",
    "cogReference", "##list##", "gnssType", "method", "integrity", "referenceStations", "pdop",
    "ageOfService",
}  # fmt: skip
NOT_READ = {65005, 65013, 65026, 127251, 127497, 129284, 129539}


def cases(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(
        (folder / "nmea2000_pgn_cases" / "cases.json").read_text()
    )
    return found


def decode(case: dict[str, Any]) -> tuple[dict[str, float], list[UtcFix]]:
    words = case["input"].split(",")
    payload = bytes.fromhex("".join(words[6:]))
    pgn, source = int(words[2]), int(words[3])
    handler = PgnDecoder("bus", Counters("bus")).handler(EXTENDED | pgn << 8 | source)
    assert handler
    frames = [payload]
    if GROUPS[pgn].fast:
        frames = [bytes([0, len(payload)]) + payload[:6]]
        frames += [
            bytes([k + 1]) + payload[6 + 7 * k : 13 + 7 * k] for k in range(len(payload) // 7)
        ]
        frames = [frame for frame in frames if len(frame) > 1]
    data = np.zeros((len(frames), 8), np.uint8)
    for row, frame in enumerate(frames):
        data[row, : len(frame)] = np.frombuffer(frame, np.uint8)
    lengths = np.array([len(frame) for frame in frames], np.uint8)
    values: dict[str, float] = {}
    fixes = []
    for item in handler.block(np.arange(len(frames)), lengths, data):
        if isinstance(item, Block):
            values |= dict(zip(item.group.channels, item.values[0].tolist(), strict=True))
        elif isinstance(item, UtcFix):
            fixes.append(item)
    return {name: v for name, v in values.items() if not math.isnan(v)}, fixes


def test_every_published_value_is_decoded(shared_data: Path):
    compared, missing, skipped = 0, 0, set()
    for case in cases(shared_data):
        pgn = case["pgn"]
        if pgn not in GROUPS:
            skipped.add(pgn)
            continue
        values, _ = decode(case)
        for name, published in case["expected"]["fields"].items():
            if name in LEFT:
                continue
            channel, factor, offset = FIELDS[pgn, name]
            if published is None:
                assert channel not in values, (pgn, name)
                missing += 1
            else:
                assert values[channel] == pytest.approx(published * factor + offset, abs=1e-6)
                compared += 1
    assert skipped == NOT_READ
    assert compared >= 20
    assert missing >= 20


def test_published_dates_give_fixes(shared_data: Path):
    by_group = {
        case["pgn"]: decode(case)[1] for case in cases(shared_data) if case["pgn"] in GROUPS
    }
    day = 17271 * 86400  # 2017-04-15, reference values 5.2
    (system,) = by_group[126992]
    assert system.utc_us == (day + 14 * 3600 + 57 * 60 + 57) * 1_000_000
    (time_date,) = by_group[129033]
    assert time_date.utc_us == round((day + 14 * 3600 + 57 * 60 + 56.895) * 1e6)
    assert by_group[129029] == []  # its time is out of range
