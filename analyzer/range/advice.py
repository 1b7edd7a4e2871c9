"""The next best action: one sentence with the gain in it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.soc import PackPosterior
from analyzer.range.home import HomeReach, turn_lead_s
from analyzer.range.inputs import MOTOR_OFF
from analyzer.range.reach import ReachResult
from logger.units import DAY_S, HOUR_S, KN, NMI

# All assumed: a slower speed is worth saying where it goes this much farther; standard deviation of
# a distance, as a share, from which it is called wide, and share of its variance that goes with one
# cause; of the charge, from which a time without readings is worth a word; sooner than SOON_S the
# turning point comes before all other advice; nobody slows below this share of the present speed.
WORTH = 1.15
WIDE, MOSTLY = 0.1, 0.5
OPEN_SD = 0.05
SOON_S = 1200.0
SLOWEST_FRAC = 0.55
CHARGING_W = 20.0  # into the pack, from which it is being charged; assumed
LEARN_CAPACITY = (
    "the pack's capacity makes this range wide: one trip from full down to about 15 %, close to "
    "home, in quiet weather and with shore power waiting, would tell it; stop before any cell "
    "comes near its cut-off"
)
HEAD_IN = "head in now by the nearest safe way, slowly: the pack is at or below its reserve"
NOTHING = "nothing to do with the motor off: the table shows what each speed would give"
SETTLE = "hold one throttle setting and course for three minutes, then ask again"


def after_silence(charge: PackPosterior) -> str:
    """What settles a charge that a time without readings left open; empty where it is known."""
    if not charge.gap_s or charge.sd < OPEN_SD:
        return ""
    hours = max(round(charge.gap_s / HOUR_S), 1)
    return (
        "half an hour under motor would narrow the charge, a full charge would settle it: nothing "
        f"was recorded for {hours} h, in which the pack may have been charged or used"
    )


def _nmi(distance_m: float) -> str:
    value = distance_m / NMI
    return f"{value:.1f}" if value < 10 else f"{value:.0f}"


def slower(result: ReachResult, k_now: int) -> int | None:
    """Index of the slower speed worth going to, None where slowing gains little."""
    medians = np.median(result.distance_m, axis=0)
    floor = SLOWEST_FRAC * result.speeds_mps[k_now]
    able = (result.speeds_mps >= floor) & (np.arange(len(medians)) < k_now)
    if not able.any():
        return None
    best = int(np.argmax(np.where(able, medians, -1.0)))
    return best if medians[best] > WORTH * max(medians[k_now], 1.0) else None


def next_action(result: ReachResult, k_now: int, home: HomeReach | None = None) -> str:
    """What to do next: turn, slow down, or go on.

    Args:
        result: How far, with the present speed at index `k_now`.
        home: The way home, if a home is known.
    """
    if home is not None and home.homeward_in_doubt:
        return (
            f"slow to {home.back_speed_mps / KN:.1f} kn through water, with a sail or another "
            f"harbour ready: {100 * home.can_return_frac:.0f} % sure of being home above the "
            "reserve"
        )
    if home is not None and must_turn(home):
        return (
            f"turn for home now at {home.back_speed_mps / KN:.1f} kn through water: "
            f"{100 * home.can_return_frac:.0f} % sure of arriving above the reserve"
        )
    out = home if home is not None and not home.homeward else None
    if out is not None and turn_lead_s(out, result.ground_speed_mps(k_now)) < SOON_S:
        return (
            f"turn for home within {_nmi(out.turn_in.low or 0.0)} nmi, back at "
            f"{out.back_speed_mps / KN:.1f} kn through water"
        )
    to = slower(result, k_now)
    if to is not None:
        here, there = (result.distance(k).mid or 0.0 for k in (k_now, to))
        return (
            f"slow to {result.speeds_mps[to] / KN:.1f} kn through water: "
            f"{_nmi(there)} nmi instead of {_nmi(here)}"
        )
    if out is not None and out.turn_in.low is not None:
        return f"go on: turn for home within {_nmi(out.turn_in.low)} nmi"
    return "go on at this speed: slowing down gains little"


@dataclass(frozen=True)
class Situation:
    """What the boat does, for the next action.

    steady: A present speed is known: motoring steadily with position and course. doing: What the
    motor does, in words. power_w: From the pack, None where not measured. soc_frac: Median charge.
    urgent, warned: First action of a standing flag that says "act now", and of a warning.
    """

    steady: bool
    doing: str
    power_w: float | None
    soc_frac: float
    reserve_frac: float
    urgent: str = ""
    warned: str = ""


def next_in(
    situation: Situation, result: ReachResult, k_now: int, home: HomeReach | None = None
) -> str:
    """The next action, the first situation of this order that is true.

    An urgent flag; on the charger; at or below the reserve; must turn; no present speed; a
    warning where else "go on" would be said; then turn, slow down or go on (`next_action`).
    """
    low = situation.soc_frac <= situation.reserve_frac
    off = situation.doing.startswith(MOTOR_OFF)
    # What flows in under way comes from the sun or the propeller, not from a charger.
    lying = situation.doing == MOTOR_OFF
    if situation.urgent:
        return situation.urgent
    if lying and (situation.power_w or 0.0) < -CHARGING_W:
        return "leave the charger on" + (": the pack is below its reserve" if low else "")
    if low:
        return "charge before motoring: the pack is at or below its reserve" if off else HEAD_IN
    if home is not None and (must_turn(home) or home.homeward_in_doubt):
        return next_action(result, k_now, home)
    if not situation.steady:
        return situation.warned or (NOTHING if off else SETTLE)
    found = next_action(result, k_now, home)
    return situation.warned if situation.warned and found.startswith("go on") else found


def must_turn(home: HomeReach) -> bool:
    """Whether the boat must turn now to be home as surely as is wanted; who has turned need not."""
    return not home.homeward and (home.turn_in.low or 0.0) <= 0.0


def calibration_hint(
    charge: PackPosterior,
    result: ReachResult,
    k_now: int,
    draws: Mapping[str, npt.NDArray[np.float64]],
) -> str:
    """What would narrow a range that the pack makes wide; empty where it does not.

    Args:
        draws: Of the pack, as the result was worked out with.
    """
    if rests_on(result, k_now, draws["capacity_ah"]):
        return LEARN_CAPACITY
    if rests_on(result, k_now, draws["soc"]) and not after_silence(charge):
        return _learn_charge(charge)
    return ""


def unmeasured(result: ReachResult, k: int, flows: tuple[str, ...]) -> str:
    """What meters of flows that nobody measures would buy: the range, were they known.

    A normal distribution that shares r^2 of its variance with a cause is narrower by
    1 - sqrt(1 - r^2) once that is known.

    Args:
        flows: Their names, as in "the panels' power"; all that is thought of hotel load and sun.
    """
    what = " and ".join(flows)
    many = len(flows) > 1
    meter = f"{'meters' if many else 'a meter'} of {what}"
    other, distance = result.total_w[:, k] - result.motor_w[:, k], result.distance_m[:, k]
    narrower = 0.0
    if other.std() > 0 and distance.std() > 0:
        shared = float(np.corrcoef(other, distance)[0, 1]) ** 2
        narrower = 100 * (1 - np.sqrt(1 - shared))
    if narrower < 1:
        return f"{meter} would tell what {'they are' if many else 'it is'}"
    return (
        f"{what} {'are' if many else 'is'} not measured and {'were' if many else 'was'} drawn: "
        f"{meter} would narrow this range by some {narrower:.0f} %"
    )


def _learn_charge(charge: PackPosterior) -> str:
    """What would tell the charge where it makes a range wide."""
    since = "the log has not seen it full"
    if charge.full_us is not None:
        days = (charge.t_us - charge.full_us) / 1e6 / DAY_S
        since = f"it was last seen full {days:.0f} days ago"
        if days < 2:
            since = f"it was last seen full {24 * days:.0f} hours ago"
    return (
        f"the pack's charge makes this range wide ({since}): one charge to full, with half an hour "
        "on the charger at the top, would tell it"
    )


def rests_on(result: ReachResult, k_now: int, what: npt.NDArray[np.float64]) -> bool:
    """Whether it is this that makes the range of the distance wide: capacity, or charge.

    Args:
        what: Its draws, shape (n,) as the result's.
    """
    distance = result.distance_m[:, k_now]
    middle, spread = float(np.median(distance)), float(distance.std())
    if what.shape != distance.shape or spread <= WIDE * middle or what.std() == 0:
        return False
    alike = float(np.corrcoef(distance, what)[0, 1])
    return alike > 0 and alike**2 > MOSTLY
