"""The default LFP cell on cells it does not know: four parameter sets in PyBaMM's DFN.

Iron phosphate of Prada 2013 against the graphites of Chen 2020 (with silicon oxide: as the set is
shipped), Ecker 2015 and Marquis 2019 (its level lies 0.08 V above the others'), and both half
cells of an 18650 of 2 Ah parameterised by About:Energy (2022). None of these four graphites, nor
the last positive, is in the default's prior (`analyzer/pack/curves/prior.py`); Prada's positive,
Afshar 2017, is. The start is told 30 % wrong, with that standard deviation: from 90 and from 65 %
told too little, from 65 % told too much. Nothing else is known but the capacity.
"""

import os

import numpy as np
import pytest

from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.simulators import LFP_SETS, outing, pybamm_dfn

FULL = bool(os.environ.get("KEELWATT_FULL") or os.environ.get("KEELWATT_PYBAMM"))
pytestmark = [
    pytest.mark.field,
    pytest.mark.skipif(not FULL, reason="minutes of a simulator: KEELWATT_PYBAMM=1"),
]
STARTS = ((0.9, -0.3), (0.65, -0.3), (0.65, 0.3))
STEP_S = 10.0
SEEDS = 2


def _one(name, seed, start, off):
    """Error and whether the 80 and 95 % ranges held, after the first tenth; their mean width."""
    amps = outing(np.random.default_rng(seed), 2.3, 5.0, low=0.1, start=start)
    amps, volts, soc, ah = pybamm_dfn(amps, start, name, round(STEP_S))
    pack = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=ah)
    step_a = 0.1 * ah / 230
    values = {
        "pack_current_a": np.round(amps / step_a) * step_a,
        "pack_voltage_v": np.round(volts, 3),
        "pack_temp_c": np.full(len(amps), 25.0),
    }
    series = Series(0, STEP_S, len(amps), values)
    charge = track(series, pack, known(pack, soc[0] + off, abs(off)))
    late = slice(len(soc) // 10, None)
    held = []
    for coverage in (0.8, 0.95):
        low, high = charge.range_frac(coverage)
        held.append(float(np.mean(((low <= soc) & (soc <= high))[late])))
    low, high = charge.range_frac(0.8)
    return (charge.soc_frac - soc)[late], *held, float(np.mean((high - low)[late]))


@pytest.fixture(scope="module")
def judged():
    """Shares held of 80 and 95 % ranges over all runs."""
    pytest.importorskip("pybamm", reason="PyBaMM is not installed (test extra)")
    found = []
    for name in LFP_SETS:
        runs = [_one(name, seed, *told) for seed in range(SEEDS) for told in STARTS]
        rmse = 100 * np.sqrt(np.mean([np.mean(error**2) for error, *_ in runs]))
        held = np.mean([run[1:] for run in runs], axis=0)
        print(f"\n{name}: rmse {rmse:.1f} %, 80 % range held {held[0]:.2f}, 95 % {held[1]:.2f}, "
              f"80 % range ±{50 * held[2]:.0f} %")  # fmt: skip
        found.append(held)
    share80, share95, width = np.mean(found, axis=0)
    print(f"all: {share80:.3f}, {share95:.3f}, ±{50 * width:.0f} %")
    return share80, share95


@pytest.mark.xfail(
    strict=True,
    reason="80 % range 0.75 for 0.76 to 0.90 (0.52 before); floor: a start that is told a standard"
    " deviation too low stands at the 92nd percentile of what is told until the curve bends",
)
def test_80_percent_ranges(judged):
    assert 0.76 <= judged[0] <= 0.90


@pytest.mark.xfail(
    strict=True,
    reason="95 % range 0.87 for 0.95 (0.80 before); floor: silicon's knee at 20 % is taken for the"
    " usual one at 5 % until more comes out than that allows; one cell in twenty is held strange",
)
def test_95_percent_ranges(judged):
    assert judged[1] >= 0.95
