"""Can the boat get home, and how far may it still go before it must turn?

Out at one speed and course, back at the speed that most surely gets home, the stream the same.
A draw's charge is spent in proportion: distance out over the distance it could go outward, plus
distance home over the distance it could go homeward, must stay within one.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from geographiclib.geodesic import Geodesic

from analyzer.estimate import Estimate
from analyzer.reach import ReachInput, ReachResult, middle, reach, toward

Floats = npt.NDArray[np.float64]

FARTHEST_M = 5e5  # turning points beyond are not searched for


@dataclass(frozen=True)
class HomeReach:
    """Whether home can be reached.

    Args:
        distance_m, course_deg: Home from here, geodesic or along the track.
        can_return_frac: Probability of arriving above every limit if turned now.
        back_speed_mps: Speed through water that makes it most likely.
        turn_in: Distance that can still be gone outward, with the wanted sureness; its `low` is
            the one to act on (0: turn now). [m]
        charge_on_arrival: If turned now. [frac]
    """

    distance_m: float
    course_deg: float
    sureness_frac: float
    can_return_frac: float
    back_speed_mps: float
    turn_in: Estimate
    charge_on_arrival: Estimate


def geodesic(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float]:
    """Distance and first course from one place to another on WGS 84. [m], [deg true]"""
    line = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    return float(line["s12"]), float(line["azi1"]) % 360.0


def _home_after(out_m: Floats, distance_m: float, turn_deg: float) -> Floats:
    """Distance home after going `out_m` on a course `turn_deg` off the one home (flat)."""
    cos = np.cos(np.radians(turn_deg))
    return np.asarray(
        np.sqrt(np.maximum(distance_m**2 + out_m**2 - 2 * distance_m * out_m * cos, 0.0))
    )


def _turning_m(out_m: Floats, back_m: Floats, distance_m: float, turn_deg: float) -> Floats:
    """Farthest distance outward per draw from which home is still within reach, shape (n,)."""
    low, high = np.zeros_like(out_m), np.minimum(out_m, FARTHEST_M)
    out, back = np.maximum(out_m, 1e-6), np.maximum(back_m, 1e-6)
    for _ in range(30):
        try_m = (low + high) / 2
        fits = try_m / out + _home_after(try_m, distance_m, turn_deg) / back <= 1
        low, high = np.where(fits, try_m, low), np.where(fits, high, try_m)
    return np.asarray(np.where(distance_m <= back_m, low, 0.0))


def home_reach(
    given: ReachInput,
    out: ReachResult,
    k_out: int,
    distance_m: float,
    course_deg: float,
    sureness_frac: float,
) -> HomeReach:
    """The way home from here.

    Args:
        given: The question "how far" as asked for the way out.
        out: Its result. k_out: the index of the speed gone outward.
        distance_m, course_deg: Home from here.
        sureness_frac: Wanted probability of being home above the reserve.
    """
    back = reach(toward(given, course_deg))
    arrives = (back.distance_m >= distance_m).mean(axis=0)
    k = int(np.argmax(arrives + 1e-6 * np.argsort(np.argsort(np.median(back.distance_m, axis=0)))))
    turn_deg = 180.0 if given.course_deg is None else course_deg - given.course_deg
    turn = _turning_m(out.distance_m[:, k_out], back.distance_m[:, k], distance_m, turn_deg)
    sure = float(np.quantile(turn, 1 - sureness_frac))
    mid, high = np.quantile(turn, (0.5, 0.9))
    spent = (back.soc - back.run.end_soc[:, k]) / np.maximum(back.distance_m[:, k], 1.0)
    arrival = back.soc - spent * distance_m
    return HomeReach(
        distance_m=distance_m,
        course_deg=course_deg,
        sureness_frac=sureness_frac,
        can_return_frac=float(arrives[k]),
        back_speed_mps=float(back.speeds_mps[k]),
        turn_in=Estimate(
            float(mid),
            sure,
            float(high),
            "m",
            reason=(
                f"the lower figure holds with {sureness_frac:.0%} sureness; back at "
                f"{back.speeds_mps[k]:.2f} m/s through water with the stream as now"
            ),
        ),
        charge_on_arrival=middle(np.maximum(arrival, 0.0), "frac"),
    )
