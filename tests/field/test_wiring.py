"""Wiring sense on outside data: a car's trips and laboratory cells (see each folder's README)."""

import csv
from pathlib import Path

import numpy as np
import pytest

from analyzer.grounds import wiring
from analyzer.pack.shunt_sense import shunt_sense

pytestmark = pytest.mark.field
TRIPS = ["A02", "A06", "A08", "A12", "A15", "A22", "A27", "A31", "B03", "B16", "B33", "B38"]


def columns(path: Path) -> dict[str, np.ndarray]:
    with path.open(encoding="utf-8-sig") as f:
        rows = list(csv.DictReader(f))
    return {k: np.array([float(r[k] or "nan") for r in rows]) for k in rows[0]}


@pytest.mark.parametrize("trip", TRIPS)
def test_shunt_sense_of_a_car(shared_data: Path, trip: str):
    # published with discharge positive; 60 Ah rated
    c = columns(shared_data / "ev_road_trips" / f"trip_{trip}.csv")
    volts, amps = c["battery_voltage_V"], c["discharge_current_A"]
    assert shunt_sense(volts, amps, 1.0, 60.0).verdict == "right"
    assert shunt_sense(volts, -amps, 1.0, 60.0).verdict == "wrong"


@pytest.mark.parametrize("trip", TRIPS)
def test_pack_voltage_range_of_a_car(shared_data: Path, trip: str):
    # 96 cells in series, not LFP: 2.5 to 4.2 V each, common figures
    c = columns(shared_data / "ev_road_trips" / f"trip_{trip}.csv")
    volts = c["battery_voltage_V"]
    assert wiring.pack_voltage_range(volts, 96, 2.5, 4.2).verdict == "right"
    assert wiring.pack_voltage_range(volts, 48, 2.5, 4.2).verdict == "wrong"


@pytest.mark.parametrize("trip", TRIPS)
def test_charge_against_device_of_a_car(shared_data: Path, trip: str):
    # README: 61.2 to 62.1 Ah per 100 % of the car's own charge "in every trip with good values"
    c = columns(shared_data / "ev_road_trips" / f"trip_{trip}.csv")
    soc = c["soc_percent"] / 100
    test = wiring.charge_against_device(c["discharge_current_A"], soc, 1.0, 61.65)
    if test.verdict == "cannot say":
        assert np.nanmax(soc) - np.nanmin(soc) < 0.08
        return
    assert test.verdict == "right"
    reversed_sign = wiring.charge_against_device(-c["discharge_current_A"], soc, 1.0, 61.65)
    assert reversed_sign.verdict == "wrong"


@pytest.mark.parametrize(
    ("path", "amps", "volts", "step_s", "capacity_ah"),
    [
        ("lfp_3500mah_excitation/excitation_run1.csv", "discharge_current_A", "voltage_V", 1, 3.7),
        ("lfp_3500mah_excitation/excitation_run2.csv", "discharge_current_A", "voltage_V", 1, 3.7),
        (
            "lfp_1200mah_hysteresis/mixed_profile_25C.csv",
            "mean_discharge_current_A",
            "mean_voltage_V",
            4,
            1.2,
        ),
    ],
)
def test_shunt_sense_of_laboratory_cells(
    shared_data: Path, path: str, amps: str, volts: str, step_s: float, capacity_ah: float
):
    c = columns(shared_data / path)
    assert shunt_sense(c[volts], c[amps], step_s, capacity_ah).verdict == "right"
    assert shunt_sense(c[volts], -c[amps], step_s, capacity_ah).verdict == "wrong"
