"""Which cell will end the trip, and when: the pack run down at the present power."""

from dataclasses import dataclass, replace

import numpy as np

from analyzer.answers.snapshot import Here
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.range.inputs import RangeInputs
from analyzer.range.monte_carlo import pack_draws
from analyzer.range.run_down.discharge import LIMITS, run_down
from logger.boat import Boat
from logger.units import HOUR_S, KW

CELL = LIMITS.index("weakest cell's cut-off")
# Assumed: less than LEAST_C flowing out, as a share of Ah, is no load to go by; USUAL_C is taken
# then, on which hangs little where the cell ends. So many draws tell a probability to 1.5 %.
LEAST_C, USUAL_C = 0.02, 0.2
DRAWS = 1000


@dataclass(frozen=True)
class CellEnd:
    """What is predicted of the weakest cell.

    Args:
        name: "cell 7" or "block 2".
        first_frac: Probability that it reaches its cut-off before the pack reaches the reserve.
        at_soc: The pack's charge at which it reaches its cut-off. [frac]
        after: How long until then at the present power; unknown while nothing is drawn. [s]
    """

    name: str
    first_frac: float
    at_soc: Estimate
    after: Estimate


def cell_end(here: Here, boat: Boat, seed: int = 1) -> CellEnd | None:
    """What is predicted; None where no cell stands out or the charge is not known."""
    if here.weakest is None or not here.weakest.told or here.charge is None:
        return None
    known = RangeInputs(boat, here.charge, here.curve, here.stream, weakest=here.weakest)
    given = known.question(n=DRAWS, seed=seed)
    pack = pack_draws(given, DRAWS, np.random.default_rng(seed))
    nominal_v = boat.pack.cells_in_series * float(given.kind.ocv_v(0.5))
    one_c_w = nominal_v * boat.pack.rated_capacity_ah
    drawn = here.power_w if here.power_w is not None and here.power_w > LEAST_C * one_c_w else None
    power = np.full((DRAWS, 1), drawn if drawn is not None else USUAL_C * one_c_w)
    # Without reserve and controller: where the cell itself comes to its end.
    alone = replace(given.limits, reserve_frac=0.0, controller_v=None)
    end = run_down(power, 0 * power, pack, alone)
    whole = run_down(power, 0 * power, pack, given.limits)
    after = cannot_say("nothing is drawn now", "s")
    if drawn is not None:
        after = _range(end.duration_s, "s", f"at {drawn / KW:.1f} kW as now")
    return CellEnd(
        here.weakest.name,
        float(np.mean(whole.limit == CELL)),
        _range(end.end_soc, "frac", ""),
        after,
    )


def _range(values: np.ndarray, unit: str, reason: str) -> Estimate:
    low, mid, high = (float(v) for v in np.quantile(values, [0.1, 0.5, 0.9]))
    used = ("pack_current_a", "pack_voltage_v")
    return Estimate(mid, low, high, unit, reason=reason, used=used)


def sentence(found: CellEnd, reserve_frac: float) -> str:
    """For people."""
    at, name = found.at_soc, found.name.capitalize()
    assert at.mid is not None
    assert at.low is not None
    assert at.high is not None
    ends = sorted({f"{100 * at.low:.0f}", f"{100 * at.high:.0f}"}, key=float)
    where = f"{name} reaches its cut-off first, at about {' to '.join(ends)} % of the pack's charge"
    if found.after.mid is not None and found.after.low is not None:
        assert found.after.high is not None
        mid, low, high = (v / HOUR_S for v in (found.after.mid, found.after.low, found.after.high))
        where += f", in about {mid:.1f} hours ({low:.1f} to {high:.1f}) {found.after.reason}"
    reserve = f"the reserve of {100 * reserve_frac:.0f} %"
    share = round(100 * found.first_frac)
    if share == 0:
        return f"{where}; {reserve} comes before that."
    if share == 100:
        return f"{where}: that ends the trip, not {reserve}."
    return f"{where}. In {share} of 100 cases that ends the trip before {reserve}."
