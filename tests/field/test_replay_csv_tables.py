"""Road trips and cell tests, replayed through a column map and read back value for value."""

import csv
from pathlib import Path

import pytest

from logger.store import Store
from replay.player import open_recordings, play
from tests.support.column_maps import ROAD_TRIP

pytestmark = pytest.mark.field
EVER = (0, 2**62)

ROAD = (
    ROAD_TRIP
    + """
[[column]]
column = "motor_torque_Nm"
channel = "motor_torque_nm"
optional = true
[[column]]
column = "heating_power_kW"
channel = "other_heating_power_w"
unit = "kW"
optional = true
"""
)
MIXED = """
[time]
column = "time_s"
[[column]]
column = "mean_discharge_current_A"
channel = "pack_current_a"
[[column]]
column = "mean_voltage_V"
channel = "pack_voltage_v"
[[column]]
column = "soc_reference"
channel = "other_soc_reference_frac"
"""
EXCITATION = """
[time]
column = "time_s"
[[column]]
column = "discharge_current_A"
channel = "pack_current_a"
[[column]]
column = "voltage_V"
channel = "cell_01_voltage_v"
"""
PULSES = """
[time]
step_s = 1.0
[[column]]
column = "U1"
channel = "cell_01_voltage_v"
[[column]]
column = "U13"
channel = "other_u13_v"
[[column]]
column = "U15"
channel = "other_u15_v"
[[column]]
column = "capacity_Ah"
channel = "other_capacity_ah"
"""


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open() as stream:
        return list(csv.DictReader(stream))


def replayed(path: Path, columns: str, tmp_path: Path) -> Store:
    (tmp_path / "map.toml").write_text(columns)
    log = tmp_path / "log.sqlite"
    source = open_recordings([path], maps=[tmp_path / "map.toml"])
    with Store.open(log, write=True) as store, store.writer(path.stem) as writer:
        play(source, writer)
    return Store.open(log)


def check(store: Store, rows: list[dict[str, str]], channel: str, column: str, factor: float = 1):
    """Every value and its time, in order; empty cells are not there."""
    start = store.boots()[0].timeline_offset_us
    times, values = store.read(channel, *EVER)
    wanted = [
        (float(row.get("time_s", number)), float(row[column]) * factor)
        for number, row in enumerate(rows)
        if row.get(column)
    ]
    got = list(zip(((times - start) / 1e6).tolist(), values.tolist(), strict=True))
    assert got == wanted
    assert wanted


TRIPS = ["A02", "A06", "A08", "A12", "A15", "A22", "A27", "A31", "B03", "B16", "B33", "B38"]


@pytest.mark.parametrize("trip", TRIPS)
def test_road_trip_reads_back(shared_data: Path, tmp_path: Path, trip: str):
    path = shared_data / "ev_road_trips" / f"trip_{trip}.csv"
    rows = rows_of(path)
    store = replayed(path, ROAD, tmp_path)
    check(store, rows, "pack_voltage_v", "battery_voltage_V")
    check(store, rows, "speed_ground_mps", "speed_km_h", 1 / 3.6)
    for channel, column, factor in (
        ("pack_current_a", "discharge_current_A", 1),
        ("pack_soc_frac", "soc_percent", 0.01),
        ("pack_temp_c", "battery_temp_C", 1),
        ("other_heating_power_w", "heating_power_kW", 1000.0),
    ):
        if column in rows[0]:
            check(store, rows, channel, column, factor)


def test_hysteresis_profile_reads_back(shared_data: Path, tmp_path: Path):
    path = shared_data / "lfp_1200mah_hysteresis" / "mixed_profile_25C.csv"
    rows = rows_of(path)
    store = replayed(path, MIXED, tmp_path)
    check(store, rows, "pack_current_a", "mean_discharge_current_A")
    check(store, rows, "pack_voltage_v", "mean_voltage_V")
    check(store, rows, "other_soc_reference_frac", "soc_reference")


@pytest.mark.parametrize("run", [1, 2])
def test_excitation_reads_back(shared_data: Path, tmp_path: Path, run: int):
    path = shared_data / "lfp_3500mah_excitation" / f"excitation_run{run}.csv"
    rows = rows_of(path)
    store = replayed(path, EXCITATION, tmp_path)
    check(store, rows, "pack_current_a", "discharge_current_A")
    check(store, rows, "cell_01_voltage_v", "voltage_V")


def test_pulses_read_back(shared_data: Path, tmp_path: Path):
    path = shared_data / "lfp_35ah_retired_pulses" / "pulse_voltages.csv"
    rows = rows_of(path)
    assert len(rows) == 280
    store = replayed(path, PULSES, tmp_path)
    check(store, rows, "cell_01_voltage_v", "U1")
    check(store, rows, "other_u13_v", "U13")
    check(store, rows, "other_u15_v", "U15")
    check(store, rows, "other_capacity_ah", "capacity_Ah")
