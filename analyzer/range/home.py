"""Can the boat get home, and how far may it still go before it must turn?

Out at one speed and course, back at the speed that most surely gets home.
A draw's charge is spent in proportion: distance out over the distance it could go outward, plus
distance home over the distance it could go homeward, must stay within one.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from geographiclib.geodesic import Geodesic

from analyzer.estimation.estimate import Estimate
from analyzer.range.monte_carlo import Ahead, ReachInput
from analyzer.range.reach import ReachResult, middle, reach, toward

Floats = npt.NDArray[np.float64]

FARTHEST_M = 5e5  # turning points beyond are not searched for; assumed
BISECTIONS = 24  # 500 km to 3 cm: by definition of bisection
# A faster speed home is taken if it leaves this share of the farthest turning point; assumed.
NEARLY = 0.9
HOMEWARD_COS = 0.5  # cosine of course and the one home from which the boat is on its way; assumed
AHEAD_WORDS = {"stays": "as now", "goes on": "going on as it may", "reversed": "reversed"}
TRACK_POINTS = 400  # a track is thinned to about this many places; assumed


@dataclass(frozen=True)
class WayBack:
    """The way home as it is asked for.

    Args:
        distance_m, course_deg: Home from here, straight or along the track.
        sureness_frac: Wanted probability of being home above the reserve.
        ahead: The stream on the way; "goes on" as tide and eddies is the least sure.
    """

    distance_m: float
    course_deg: float
    sureness_frac: float
    ahead: Ahead = "goes on"

    @property
    def stream(self) -> str:
        """The stream on the way, in words."""
        return AHEAD_WORDS[self.ahead] if isinstance(self.ahead, str) else "as the table has it"


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
        stream: The stream on the way home, in words.
        homeward: Whether the boat is on its way home already.
    """

    distance_m: float
    course_deg: float
    sureness_frac: float
    can_return_frac: float
    back_speed_mps: float
    turn_in: Estimate
    charge_on_arrival: Estimate
    stream: str
    homeward: bool


def geodesic(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float]:
    """Distance and first course from one place to another on WGS 84. [m], [deg true]"""
    line = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    return float(line["s12"]), float(line["azi1"]) % 360.0


def along_track(
    latitude_deg: Floats, longitude_deg: Floats, home: tuple[float, float]
) -> float | None:
    """Distance home back along the track, from its last place; None with too little track.

    Args:
        latitude_deg, longitude_deg: The track, shape (n,), NaN where no fix.
        home: Latitude and longitude; the track's place nearest to it is where the way ends.
    """
    ok = np.isfinite(latitude_deg) & np.isfinite(longitude_deg)
    lat, lon = latitude_deg[ok], longitude_deg[ok]
    if len(lat) < 2:
        return None
    step = max(len(lat) // TRACK_POINTS, 1)
    kept = np.append(np.arange(0, len(lat), step), len(lat) - 1)
    places = list(zip(lat[kept], lon[kept], strict=True))
    away_m = [geodesic(*place, *home)[0] for place in places]
    nearest = int(np.argmin(away_m))
    steps = pairwise(places[nearest:])
    return away_m[nearest] + sum(geodesic(*a, *b)[0] for a, b in steps)


def _home_after(out_m: Floats, distance_m: float, turn_deg: float) -> Floats:
    """Distance home after going `out_m` on a course `turn_deg` off the one home (flat)."""
    toward_m = out_m * np.cos(np.radians(turn_deg))
    squared = distance_m**2 + out_m**2 - 2 * distance_m * toward_m
    return np.asarray(np.sqrt(np.maximum(squared, 0.0)))


def _turning_m(out_m: Floats, back_m: Floats, distance_m: float, turn_deg: float) -> Floats:
    """Farthest distance outward from which home is still within reach.

    Args:
        out_m: Distance each draw could go outward, (n,).
        back_m: Distance it could go homeward at each speed, (n, k).
    Returns:
        Shape (n, k).
    """
    out = np.maximum(out_m, 1e-6)[:, None]
    back = np.maximum(back_m, 1e-6)
    low = np.zeros_like(back)
    high = np.broadcast_to(np.minimum(out, FARTHEST_M), back.shape)
    for _ in range(BISECTIONS):
        try_m = (low + high) / 2
        home_m = _home_after(try_m, distance_m, turn_deg)
        fits = try_m / out + home_m / back <= 1
        low = np.where(fits, try_m, low)
        high = np.where(fits, high, try_m)
    return np.asarray(np.where(distance_m <= back_m, low, 0.0))


def _back_speed(sure_m: Floats, arrives: Floats, homeward: bool) -> int:
    """The fastest speed home that is nearly as sure as the surest; on the way home the surest."""
    if sure_m.max() > 0 and not homeward:
        return int(np.flatnonzero(sure_m >= NEARLY * sure_m.max())[-1])
    return int(np.flatnonzero(arrives >= arrives.max() - 0.005)[-1])


def home_reach(given: ReachInput, out: ReachResult, k_out: int, way: WayBack) -> HomeReach:
    """The way home from here.

    Args:
        given: The question "how far" as asked for the way out.
        out: Its result. k_out: the index of the speed gone outward.
    """
    back = reach(replace(toward(given, way.course_deg), ahead=way.ahead))
    arrives = np.mean(back.distance_m >= way.distance_m, axis=0)
    turn_deg = 180.0 if given.course_deg is None else way.course_deg - given.course_deg
    turn = _turning_m(out.distance_m[:, k_out], back.distance_m, way.distance_m, turn_deg)
    sure_m = np.quantile(turn, 1 - way.sureness_frac, axis=0)
    homeward = bool(np.cos(np.radians(turn_deg)) > HOMEWARD_COS)
    k = _back_speed(sure_m, arrives, homeward)
    return HomeReach(
        distance_m=way.distance_m,
        course_deg=way.course_deg,
        sureness_frac=way.sureness_frac,
        can_return_frac=float(arrives[k]),
        back_speed_mps=float(back.speeds_mps[k]),
        turn_in=_turn_in(turn[:, k], way, float(back.speeds_mps[k])),
        charge_on_arrival=_charge_on_arrival(back, k, way.distance_m),
        stream=way.stream,
        homeward=homeward,
    )


def _turn_in(turn_m: Floats, way: WayBack, speed_mps: float) -> Estimate:
    """Distance that can still be gone outward; its low holds as surely as is wanted. [m]"""
    low, mid, high = np.quantile(turn_m, (1 - way.sureness_frac, 0.5, 0.9))
    reason = (
        f"the lower figure holds with {100 * way.sureness_frac:.0f} % sureness, back at "
        f"{speed_mps:.2f} m/s through water with the stream {way.stream}"
    )
    return Estimate(float(mid), float(low), float(high), "m", reason=reason)


def _charge_on_arrival(back: ReachResult, k: int, distance_m: float) -> Estimate:
    """Charge at home if turned now, by the mean slope of the run at the k-th speed. [frac]"""
    spent = (back.soc - back.run.end_soc[:, k]) / np.maximum(back.distance_m[:, k], 1.0)
    return middle(np.maximum(back.soc - spent * distance_m, 0.0), "frac")


def turn_lead_s(home: HomeReach, speed_ground_mps: float) -> float:
    """Time until the boat must turn, going outward at a speed; 0: now."""
    left = home.turn_in.low or 0.0
    return left / max(speed_ground_mps, 0.1)
