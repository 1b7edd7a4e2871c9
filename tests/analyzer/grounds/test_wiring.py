"""Wiring sense. Expected verdicts come from circuit laws on invented circuits, worked by hand;
outside data are in tests/field/test_wiring.py."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from analyzer.grounds import wiring


@pytest.mark.parametrize(
    ("gap_v", "verdict", "words"),
    [
        (0.0, "right", "51.20 V"),
        (0.25, "right", ""),  # 0.5 %: two meters of ordinary accuracy
        (3.2, "wrong", "1 cell too few"),
        (-6.4, "wrong", "2 cells too many"),
        (1.6, "wrong", "+3.0 %"),  # 1.6 / 52.8
    ],
)
def test_cells_against_pack(gap_v: float, verdict: str, words: str):
    cells = np.full((16, 50), 3.2)
    test = wiring.cells_against_pack(cells, np.full(50, 51.2 + gap_v), "cell", 16)
    assert test.verdict == verdict
    assert words in test.text


def test_cells_against_pack_wants_all_cells_at_once():
    cells = np.full((16, 50), 3.2)
    cells[3] = np.nan
    assert wiring.cells_against_pack(cells, np.full(50, 51.2), "cell", 16).verdict == "cannot say"


@pytest.mark.parametrize(("cells", "verdict"), [(16, "right"), (15, "right"), (8, "wrong")])
def test_pack_voltage_range(cells: int, verdict: str):
    # 51.2 V over 8 cells is 6.4 V each; LFP is 2.5 to 3.65 V (reference values, 2.1)
    assert wiring.pack_voltage_range(np.full(9, 51.2), cells, 2.5, 3.65).verdict == verdict


@pytest.mark.parametrize(
    ("scale", "verdict"),
    [
        (1.0, "right"),
        (1.2, "right"),  # a pack a sixth smaller than its label, still in the bounds
        (0.85, "right"),
        (-1.0, "wrong"),
        (10.0, "wrong"),
        (0.5, "wrong"),
    ],
)
def test_charge_against_device(scale: float, verdict: str):
    # 20 A for an hour out of 100 Ah is 20 %
    current = np.full(3600, 20.0)
    soc = np.round(0.9 - np.arange(3600) * 20 / 3600 / 100, 2)  # devices show whole percents
    assert wiring.charge_against_device(scale * current, soc, 1.0, 100.0).verdict == verdict


def test_charge_against_device_waits_for_enough_charge():
    current, soc = np.full(600, 5.0), np.full(600, 0.8)
    assert wiring.charge_against_device(current, soc, 1.0, 100.0).verdict == "cannot say"


@pytest.mark.parametrize(
    ("before", "after", "counted", "verdict"),
    [
        ((0.9, 1.0), (0.3, 0.4), 0.6, "right"),  # 50 to 70 % gone
        ((0.9, 1.0), (0.3, 0.4), -0.6, "wrong"),
        ((0.9, 1.0), (0.3, 0.4), 0.1, "wrong"),
        ((0.2, 0.9), (0.2, 0.9), 0.3, "cannot say"),  # the plateau tells nothing
    ],
)
def test_charge_between_rests(
    before: tuple[float, float], after: tuple[float, float], counted: float, verdict: str
):
    assert wiring.charge_between_rests(before, after, counted).verdict == verdict


@pytest.mark.parametrize(
    ("factor", "verdict"), [(1.0, "right"), (3600 / 1852, "wrong"), (3.6, "wrong")]
)
def test_speed_against_position_knows_metres_a_second_from_knots(factor: float, verdict: str):
    # positions by Karney's geodesic: 2 m/s on 060° for ten minutes from 50 N 5 W
    points = [Geodesic.WGS84.Direct(50.0, -5.0, 60.0, 2.0 * t) for t in range(600)]
    lat, lon = (np.array([p[k] for p in points]) for k in ("lat2", "lon2"))
    test = wiring.speed_against_position(lat, lon, np.full(600, 2.0 * factor), 1.0)
    assert test.verdict == verdict


def test_speed_against_position_says_nothing_at_a_mooring():
    still = np.full(600, 50.0)
    test = wiring.speed_against_position(still, still, np.full(600, 0.1), 1.0)
    assert test.verdict == "cannot say"


@pytest.mark.parametrize(("ratio", "verdict"), [(2.5, "right"), (1.0, "wrong")])
def test_gear(ratio: float, verdict: str):
    assert wiring.gear(np.full(60, 10.0), np.full(60, 25.0), ratio).verdict == verdict


def test_runs_are_the_stretches_of_true():
    assert wiring.runs(np.array([1, 1, 0, 1, 0, 0, 1], bool)) == [(0, 2), (3, 4), (6, 7)]
    assert wiring.runs(np.zeros(3, bool)) == []
