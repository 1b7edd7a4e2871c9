"""Which cell ends the trip, against a run-down followed second by second."""

from types import SimpleNamespace

import numpy as np
import pytest
from pytest import approx

from analyzer.answers.health.cell_end import cell_end, sentence
from analyzer.cells.weak_cell import Deficit, WeakCell
from analyzer.pack.cell_model import chemistry, default_params
from analyzer.pack.soc import known
from logger.boat import Hotel, Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
POWER_W = 3000.0


def boat(reserve=0.2):
    """As much of a boat as the question takes; the hull plays no part."""
    return SimpleNamespace(
        pack=PACK,
        reserve=SimpleNamespace(soc_frac=reserve),
        hotel=Hotel(power_w=0.0),
        solar=SimpleNamespace(peak_w=0.0),
        motor=SimpleNamespace(rated_power_w=6000.0, cutback_v=None, shutdown_v=None),
        cable=(),
        hull=None,
    )


@pytest.fixture(autouse=True)
def without_hull(monkeypatch):
    monkeypatch.setattr("analyzer.range.inputs.speeds_for", lambda curve, rated_w: np.array([2.0]))
    monkeypatch.setattr("analyzer.range.inputs.windage_m2", lambda hull: 0.0)
    monkeypatch.setattr("analyzer.range.inputs.sails.prior", lambda hull: 0.0)


def here(weakest, soc=0.6, power_w=POWER_W):
    charge = known(PACK, soc, 0.01)
    return SimpleNamespace(charge=charge, weakest=weakest, curve=None, stream=None, power_w=power_w)


def followed_until_cutoff(soc, deficit, excess_ohm):
    """Seconds and the mean cell's charge when the weak cell reaches 2.5 V, one second at a time."""
    kind, p, n = chemistry("lfp"), default_params(PACK), PACK.cells_in_series
    ohm = p.r0_ohm + p.r1_ohm + p.r2_ohm
    for second in range(200_000):
        rest = float(kind.ocv_v(soc, 25.0, -1.0))
        weak = float(kind.ocv_v(soc - deficit, 25.0, -1.0))
        amps = POWER_W / n / rest
        for _ in range(4):
            amps = POWER_W / n / (rest - amps * ohm)
        if weak - amps * (ohm + excess_ohm) <= 2.5:
            return second, soc
        soc -= amps / 3600 / PACK.rated_capacity_ah
    raise AssertionError("never")


def test_cell_end_is_where_following_second_by_second_ends():
    weakest = WeakCell("cell 7", 0.2e-3, 0.02e-3, (Deficit(1.0, 0.06, 0.005),))
    found = cell_end(here(weakest), boat())
    seconds, at = followed_until_cutoff(0.6, 0.06, 0.2e-3)
    assert found is not None
    assert found.name == "cell 7"
    assert found.after.low < seconds < found.after.high
    assert found.at_soc.mid == approx(at, abs=0.02)
    assert found.after.high - found.after.low < 0.5 * found.after.mid


def test_cell_end_against_the_reserve():
    weak = WeakCell("cell 3", 0.0, 0.01e-3, (Deficit(1.0, 0.25, 0.02),))
    slight = WeakCell("cell 3", 0.0, 0.01e-3, (Deficit(1.0, 0.02, 0.005),))
    assert cell_end(here(weak), boat()).first_frac > 0.9
    assert cell_end(here(slight), boat()).first_frac < 0.1


def test_cell_end_says_nothing_where_nothing_stands_out():
    assert cell_end(here(None), boat()) is None
    likely = WeakCell("cell 7", 0.0, 0.0, (Deficit(0.3, 0.06, 0.005),), told=False)
    assert cell_end(here(likely), boat()) is None, "counted by the run-down, but not told"


def test_cell_end_without_load_says_where_and_not_when():
    weakest = WeakCell("block 2", 0.2e-3, 0.02e-3, (Deficit(1.0, 0.06, 0.005),))
    found = cell_end(here(weakest, power_w=0.0), boat())
    assert not found.after.known
    text = sentence(found, 0.2)
    assert text.startswith("Block 2 reaches its cut-off first, at about ")
    assert " hours " not in text
    assert " hours (" in sentence(cell_end(here(weakest), boat()), 0.2)


def test_sentence_says_which_comes_first():
    weak = WeakCell("cell 3", 0.0, 0.01e-3, (Deficit(1.0, 0.35, 0.02),))
    slight = WeakCell("cell 3", 0.0, 0.01e-3, (Deficit(1.0, 0.02, 0.005),))
    assert sentence(cell_end(here(weak), boat()), 0.2).endswith(
        "that ends the trip, not the reserve of 20 %."
    )
    assert sentence(cell_end(here(slight), boat()), 0.2).endswith(
        "; the reserve of 20 % comes before that."
    )
    close = WeakCell("cell 3", 0.0, 0.01e-3, (Deficit(1.0, 0.19, 0.02),))
    assert " of 100 cases " in sentence(cell_end(here(close), boat()), 0.2)
