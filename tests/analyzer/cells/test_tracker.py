"""When a stretch ends and when evidence is weighed; voltages invented."""

import numpy as np
from pytest import approx

from analyzer.cells.hypotheses import CHARGE, GRID, PRIOR
from analyzer.cells.memory import passed_on
from analyzer.cells.ohms import Ohms
from analyzer.cells.tracker import ASK_S, LONGEST_S, DeficitTracker
from analyzer.cells.verdict import Told
from analyzer.pack.cell_model import chemistry
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100)
KIND = chemistry("lfp")


def tracker(known=None, ratio=None):
    ohms = Ohms(0.5e-3, np.zeros(4), np.full(4, 1e-5), ratio)
    return DeficitTracker(PACK, lambda: ohms, [Told()] * 4, known)


def discharge(of, first=0.995, last=0.1, less=0.05):
    """The last cell holds less."""
    for soc in np.arange(first, last, -20 * 10 / 3600 / 100):
        volts = [float(KIND.ocv_v(max(s, 0.0), 25.0, -1.0)) for s in (soc, soc - less)]
        last_v = np.array([0, 1e-4, -1e-4, volts[1] - volts[0]])
        of.step(volts[0] - 0.01, last_v, 20.0, 10.0)
    return last_v


def behind(of):
    of.weigh()
    return float(of.weight[3][:, (GRID.cause == CHARGE) & (GRID.charge > 0)].sum())


def test_evidence_is_weighed_once_in_a_while():
    of = tracker()
    of.step(3.3, np.zeros(4), 0.0, 10.0)
    assert of.weigh()
    for k in range(round(ASK_S / 10)):
        assert not of.weigh(), k
        of.step(3.3, np.zeros(4), 0.0, 10.0)
    assert of.weigh()


def test_nothing_seen_leaves_what_was_known():
    known = np.tile(PRIOR, (4, 1, 1))
    of = tracker(known)
    assert of.weigh()
    assert of.weight == approx(known)
    assert [one.kind for one in of.verdicts()] == [""] * 4


def test_after_a_gap_what_was_found_is_known_and_the_stretch_begins_anew():
    of = tracker()
    discharge(of)
    before = behind(of)
    assert before > 0.9
    weight = of.weight
    of.gap()
    assert of.weigh()
    assert of.weight == approx(passed_on(weight, levelled=True))
    assert behind(of) < before


def test_a_stretch_of_a_day_passes_on_what_it_found_unlevelled():
    of = tracker()
    last_v = discharge(of)
    assert of.weigh()
    weight = of.weight
    # one step that ends the day, and as yet too short a look at the next
    of.step(3.2, last_v, 0.0, LONGEST_S)
    assert of._known == approx(passed_on(weight, levelled=False))


def test_what_is_told_is_kept_for_the_next_time():
    of = tracker()
    discharge(of)
    assert of.weigh()
    told = [one.kind for one in of.verdicts()]
    assert told == ["", "", "", "cell_charge"]
    assert [one.kind for one in of.told] == told


def test_load_steps_turn_the_odds_of_a_raised_resistance_by_their_likelihood_ratio():
    """Bayes' rule by hand: 1 to 99 before, times the ratio."""
    ratio = np.array([1.0, 1e4, 1e-3, 99.0])
    of = tracker(ratio=ratio)
    assert of.weigh()
    odds = ratio / 99
    found = of.verdicts()
    assert [one.raised_frac for one in found] == approx(odds / (1 + odds))
    assert [one.told.raised for one in found] == [False, True, False, False]
    assert [one.kind for one in found] == [""] * 4
