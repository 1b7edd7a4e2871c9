"""The sag account where only factory blocks are measured. Figures invented."""

import numpy as np
import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import SagTerm
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from analyzer.trips.sag import trip_span
from analyzer.trips.sag_account import sentence, worst
from analyzer.trips.trips import Trip
from logger.boat import Pack
from tests.support.motor_boat import motor_boat

BLOCK_OHM, MORE_OHM = 0.004, 0.003

BOAT = motor_boat(
    pack=Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200, blocks_in_series=4)
)


def test_a_weak_block_s_share_is_named():
    amps = np.concatenate([np.zeros(900), np.tile([60.0] * 300 + [90.0] * 300, 4)])
    blocks = [13.2 - BLOCK_OHM * amps - (MORE_OHM * amps if k == 2 else 0.0) for k in range(4)]
    values = {"pack_current_a": amps, "pack_voltage_v": np.sum(blocks, axis=0)}
    values |= {f"block_{k + 1}_voltage_v": blocks[k] for k in range(4)}
    log = Series(10**15, 1.0, len(amps), values)
    account = worst(log, track(log, BOAT.pack, known(BOAT.pack, 0.6, 0.03)), BOAT, None)
    (term,) = [t for t in account.terms if t.text.startswith("weak")]
    assert term.text == "weak block 3"
    assert term.volts.mid == pytest.approx(90 * MORE_OHM, rel=0.1)


@pytest.mark.parametrize(
    ("left_v", "said"),
    [
        (0.3, "2.0 V to charge already used, 0.3 V to causes not known."),
        (0.02, "2.0 V to charge already used."),
        (-0.3, "2.0 V to charge already used. Together that is 0.3 V more than was measured"),
    ],
)
def test_what_is_explained_twice_is_no_cause(left_v, said):
    terms = [
        SagTerm("charge used", Estimate(2.0, 1.9, 2.1, "V")),
        SagTerm("unexplained", Estimate(left_v, left_v - 0.1, left_v + 0.1, "V")),
    ]
    assert said in sentence(54.0, 54.0 - 2.0 - left_v, 60.0, terms)


def test_a_trip_s_place_in_a_longer_log_is_counted_in_its_steps():
    log = Series(7 * 10**9, 2.0, 600, {})
    trip = Trip(7 * 10**9 + 100_000_000, 7 * 10**9 + 700_000_000, ())
    assert trip_span(log, trip) == (50, 350)
    assert trip_span(log.cut(100, 300), trip) == (0, 200)  # begun before, over later
    assert trip_span(log, None) == (0, 600)


def test_the_lowest_voltage_is_that_of_the_trip_and_its_range_holds_the_middle():
    """Before and after the trip the load is larger, and the voltage lower: 60 A by itself."""
    amps = np.repeat([0.0, 110.0, 0.0, 60.0, 0.0, 120.0], 900)
    pack_v = 53.0 - 0.02 * amps
    log = Series(10**15, 1.0, len(amps), {"pack_current_a": amps, "pack_voltage_v": pack_v})
    trip = Trip(10**15 + 2000 * 10**6, 10**15 + 4000 * 10**6, ())
    account = worst(log, track(log, BOAT.pack, known(BOAT.pack, 0.6, 0.03)), BOAT, trip)
    assert account.current_a == pytest.approx(60.0)
    assert account.loaded_v == pytest.approx(53.0 - 0.02 * 60)
    for term in account.terms:
        if term.volts.mid is not None:  # normal, so as far to either side
            below, above = term.volts.mid - term.volts.low, term.volts.high - term.volts.mid
            assert below == pytest.approx(above)
            assert below > 0
