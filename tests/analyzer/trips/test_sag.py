"""The sag account where only factory blocks are measured. Figures invented."""

import numpy as np
import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import SagTerm
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from analyzer.trips.sag_account import sentence, worst
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
