"""Charge and capacity missing, on invented cells on the published curve."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.deficit import Levels
from analyzer.pack.cell_model import chemistry
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100)


def discharge(less=0.0, smaller=0.0, low=0.03, high=0.995):
    """From nearly full to low at 20 A and back; the last cell differs; invented."""
    levels = Levels(PACK, 4)
    ocv = chemistry("lfp").ocv_v
    down = np.arange(high, low, -20 * 10 / 3600 / 100)
    for soc, amps in [*((s, 20.0) for s in down), *((s, -20.0) for s in down[::-1])]:
        given = high - soc
        last = high - less - given / (1 - smaller)
        branch = -np.sign(amps)
        other, own = (float(ocv(at, 25.0, branch)) for at in (soc, max(last, 0.0)))
        distance = np.array([0.0, 1e-4, -1e-4, own - other])
        levels.step(other - 0.5e-3 * amps, distance, amps, 10.0)
    return levels


@pytest.mark.parametrize(
    ("fault", "kind"), [({"less": 0.03}, "cell_charge"), ({"smaller": 0.05}, "cell_capacity")]
)
def test_cause_tells_charge_from_capacity(fault, kind):
    levels = discharge(low=0.06, **fault)
    cause = levels.cause(0.5e-3, np.zeros(4), 3)
    assert cause.kind == kind
    assert cause.size == approx(next(iter(fault.values())), rel=0.35)


def test_missing_is_nothing_for_like_cells():
    missing = discharge().missing(0.5e-3, np.zeros(4))
    assert np.abs(missing.share[:3]).max() < 0.005
    assert np.abs(missing.capacity[:3]).max() < 0.005


def test_least_visible_is_small_at_the_knees_and_infinite_on_the_flat():
    assert discharge().least_visible(0.5e-3) < 0.01
    assert discharge(low=0.5, high=0.6).least_visible(0.5e-3) > 0.1


def test_nothing_seen_says_nothing():
    assert Levels(PACK, 4).missing(1e-3, np.zeros(4)) is None


def test_at_shows_less_capacity_best_at_the_lowest():
    missing = discharge(smaller=0.05, low=0.06).missing(0.5e-3, np.zeros(4))
    top, _ = missing.at(0.0)
    lowest, sd = missing.at(missing.depth)
    # 5 % of what was given is missing there, less the rounding of levels; nothing at the top
    assert lowest[3] == approx(0.05 * missing.depth, rel=0.35)
    assert abs(top[3]) < 0.01
    assert lowest[3] > 3.8 * sd[3]
