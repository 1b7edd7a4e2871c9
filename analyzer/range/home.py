"""Can the boat get home, and how far may it still go before it must turn?

Out at one speed and course, back at the speed that most surely gets home.
A draw's charge is spent in proportion: distance out over the distance it could go outward, plus
distance home over the distance it could go homeward, must stay within one.
"""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from geographiclib.geodesic import Geodesic

from analyzer.environment.solar import until_sunset_s
from analyzer.estimation.estimate import Estimate
from analyzer.range.monte_carlo import Ahead, ReachInput
from analyzer.range.reach import ReachResult, middle, reach, toward
from analyzer.range.run_down.discharge import after_s
from logger.boat import Boat
from logger.units import KN

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

EARTH_M = 6_371_009.0  # mean radius of WGS 84, by definition (2a + b) / 3
FARTHEST_M = 5e5  # turning points beyond are not searched for; assumed
LEAST_M = 1e-6  # divides where nothing can be gone; assumed
# A faster speed home is taken if it leaves this share of the farthest turning point; assumed.
NEARLY = 0.9
HOMEWARD_COS = 0.5  # cosine of course and the one home from which the boat is on its way; assumed
AHEAD_WORDS = {"stays": "as now", "goes on": "going on as it may", "reversed": "reversed"}
# Assumed: slower over ground than LEAST_MPS is no way made; rounds in which the time home and the
# stream over that time come to agree; steps in which its charge is spent; so much less sure than
# the surest speed a sensible one may be.
LEAST_MPS = 0.05
LEAST_W = 1.0  # divides where the sun gives as much as is used; assumed
ROUNDS, STEPS = 4, 8
NO_LESS_SURE = 0.02
# Floor of sense: below this speed of advance a rudder may not keep the course in any wind and sea.
# Two knots is what IMO asks of ships (MEPC.1/Circ.850/Rev.3, 2021, from memory; its principle, that
# who advances so fast keeps any course, in MEPC.232(65), 3.1); for small craft common practice, no
# source. As it is made good over the ground, it beats the stream too.
SENSIBLE_MPS = 2.0 * KN
HOPELESS = 0.01  # probability below which no speed gets home; assumed
TRACK_POINTS = 400  # a track is thinned to about this many places; assumed


@dataclass(frozen=True)
class WayBack:
    """The way home as it is asked for.

    Args:
        distance_m, course_deg: Home from here, straight or along the track.
        sureness_frac: Wanted probability of being home above the reserve.
        ahead: The stream on the way; "goes on" as tide and eddies is the least sure.
        least_mps: Speed made good that a way home is worth the name at, in nine of ten draws.
        dark_in_s: Until sunset; None: by night, or not known.
    """

    distance_m: float
    course_deg: float
    sureness_frac: float
    ahead: Ahead = "goes on"
    least_mps: float = 0.0
    dark_in_s: float | None = None

    @property
    def stream(self) -> str:
        """The stream on the way, in words."""
        return AHEAD_WORDS[self.ahead] if isinstance(self.ahead, str) else "as the table has it"


@dataclass(frozen=True)
class HomeAt:
    """The way home at one speed through water, if turned now.

    Args:
        can_return_frac: Probability of arriving above every limit.
        charge_on_arrival: Below the reserve too, as no one gives up there. [frac]
        turn_in: Distance that can still be gone outward with this speed home, with the wanted
            sureness; its `low` is the one to act on (0: turn now). [m]
        takes: Time until home; where the stream stops the boat, without end. [s]
        stream_gain: What the stream adds to the speed made good, on the mean of the way. [m/s]
        before_dark_frac: Probability of being there before sunset; None: by night, or not known.
    """

    speed_mps: float
    can_return_frac: float
    charge_on_arrival: Estimate
    turn_in: Estimate
    takes: Estimate
    stream_gain: Estimate
    before_dark_frac: float | None


@dataclass(frozen=True)
class HomeReach:
    """Whether home can be reached.

    Args:
        distance_m, course_deg: Home from here, geodesic or along the track.
        chosen: At the speed that makes it most likely, within what is sensible.
        at_present: At the speed gone outward.
        stream: The stream on the way home, in words.
        homeward: Whether the boat is on its way home already.
    """

    distance_m: float
    course_deg: float
    sureness_frac: float
    chosen: HomeAt
    at_present: HomeAt
    stream: str
    homeward: bool

    @property
    def can_return_frac(self) -> float:
        """Probability of arriving above every limit if turned now."""
        return self.chosen.can_return_frac

    @property
    def turn_in(self) -> Estimate:
        """Distance that can still be gone outward; its `low` is the one to act on. [m]"""
        return self.chosen.turn_in

    @property
    def homeward_in_doubt(self) -> bool:
        """Whether the boat is on its way home and less sure to get there than is wanted."""
        return self.homeward and self.can_return_frac < self.sureness_frac

    @property
    def back_speed_mps(self) -> float:
        """Speed through water on the way home."""
        return self.chosen.speed_mps

    @property
    def charge_on_arrival(self) -> Estimate:
        """If turned now. [frac]"""
        return self.chosen.charge_on_arrival


def way_back(boat: Boat, fix: tuple[float, float], utc_s: float | None) -> WayBack | None:
    """Straight home from a place, latitude and longitude, at a time; None without a home.

    Args:
        utc_s: For the daylight that is left; None where the log has no date.
    """
    if boat.home is None:
        return None
    home = (boat.home.latitude_deg, boat.home.longitude_deg)
    dark_in_s = until_sunset_s(*fix, utc_s) if utc_s is not None else None
    return WayBack(
        *geodesic(*fix, *home),
        boat.reserve.return_sureness_frac,
        least_mps=SENSIBLE_MPS,
        dark_in_s=dark_in_s,
    )


def geodesic(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float]:
    """Distance and first course from one place to another on WGS 84. [m], [deg true]"""
    line = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    return float(line["s12"]), float(line["azi1"]) % 360.0


def great_circle(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float]:
    """The same on a sphere of the earth's mean radius. [m], [deg true]

    Source: haversine formula and the course of spherical trigonometry (navigation, textbook).
    """
    from_lat, to_lat = math.radians(lat1), math.radians(lat2)
    east = math.radians(lon2 - lon1)
    haversine = math.sin((to_lat - from_lat) / 2) ** 2
    haversine += math.cos(from_lat) * math.cos(to_lat) * math.sin(east / 2) ** 2
    north = math.cos(from_lat) * math.sin(to_lat)
    north -= math.sin(from_lat) * math.cos(to_lat) * math.cos(east)
    course = math.atan2(math.sin(east) * math.cos(to_lat), north)
    distance_m = 2 * EARTH_M * math.asin(min(math.sqrt(haversine), 1.0))
    return distance_m, math.degrees(course) % 360.0


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


def _turning_m(out_m: Floats, back_m: Floats, distance_m: float, turn_deg: float) -> Floats:
    """Farthest distance outward from which home is still within reach.

    With o and b what could be gone outward and homeward, d the distance home and x what is gone
    outward on a course that is theta off the one home, all on a plane, home is within reach while

        x / o + sqrt(d² + x² - 2 d x cos theta) / b <= 1

    The left side is convex in x, d / b at 0 and at least 1 at o, so that it passes 1 once: at the
    root in between of (1 - b²/o²) x² + 2 (b²/o - d cos theta) x + d² - b² = 0.

    Args:
        out_m: Distance each draw could go outward, (n,).
        back_m: Distance it could go homeward at each speed, (n, k).
    Returns:
        Shape (n, k).
    """
    out = np.maximum(out_m, LEAST_M)[:, None]
    back = np.maximum(back_m, LEAST_M)
    over = back / out
    square = 1 - over**2
    half = over * back - distance_m * math.cos(math.radians(turn_deg))
    free = distance_m**2 - back**2
    root = np.sqrt(np.maximum(half**2 - square * free, 0.0))
    # Of the two ways to write a root the one without a difference of like numbers. Where `half`
    # is negative and home is within reach, the square's factor is positive.
    falls = half < 0
    above = np.where(falls, root - half, -free)
    below = np.where(falls, square, half + root)
    turn_m = above / np.maximum(below, LEAST_M)
    turn_m = np.clip(turn_m, 0.0, np.minimum(out, FARTHEST_M))
    return np.where(distance_m <= back_m, turn_m, 0.0)


@dataclass(frozen=True)
class _Back:
    """The way home at every speed, (n, k): mean speed made good and power, time it takes, what
    could be gone at that speed and power before a limit."""

    made_mps: Floats
    total_w: Floats
    takes_s: Floats
    able_m: Floats


def _back(back: ReachResult, distance_m: float) -> _Back:
    """Over the time that home takes: wind, stream and sun of hours later do not count."""
    takes_s = distance_m / np.maximum(back.speeds_mps, LEAST_MPS) + 0.0 * back.duration_s
    for _ in range(ROUNDS):
        made_mps = back.made_over(takes_s)
        takes_s = distance_m / np.maximum(made_mps, LEAST_MPS)
    over_all_mps = back.made_over(takes_s)
    made_mps = np.where(_stuck(back, takes_s, over_all_mps), 0.0, over_all_mps)
    total_w = back.motor_over(takes_s) + back.other_over(takes_s)
    # The same energy at another power: a few per cent, so that the sag does not matter.
    lasts = np.maximum(back.total_w, LEAST_W) / np.maximum(total_w, LEAST_W)
    return _Back(made_mps, total_w, takes_s, made_mps * back.duration_s * lasts)


def _stuck(back: ReachResult, takes_s: Floats, over_all_mps: Floats) -> Bools:
    """Where the stream stops the boat somewhere on the way, (n, k): a passage ends there too.

    over_all_mps: Mean speed made good over all of it.
    """
    part_s = takes_s / STEPS
    stuck = np.zeros(takes_s.shape, dtype=bool)
    gone_m = np.zeros_like(takes_s)
    for step in range(1, STEPS + 1):
        mean_mps = over_all_mps if step == STEPS else back.made_over(part_s * step)
        there_m = mean_mps * part_s * step
        stuck |= there_m - gone_m < LEAST_MPS * part_s
        gone_m = there_m
    return stuck


def _sensible(home: _Back, arrives: Floats, way: WayBack) -> Bools:
    """Speeds to choose from, (k,): that beat the tide and the dark, where it costs no sureness."""
    beats_tide = np.quantile(home.made_mps, 0.1, axis=0) >= way.least_mps
    by_day = np.ones_like(beats_tide)
    if way.dark_in_s is not None:
        by_day = np.median(home.takes_s, axis=0) <= way.dark_in_s
    enough = min(way.sureness_frac, float(arrives.max()) - NO_LESS_SURE)
    for able in (beats_tide & by_day, beats_tide):
        if able.any() and arrives[able].max() >= enough:
            return able
    return np.ones_like(beats_tide)


def _back_speed(home: _Back, sure_m: Floats, arrives: Floats, able: Bools, homeward: bool) -> int:
    """The fastest speed home that is nearly as sure as the surest; on the way home the surest.

    Where none can do it, the one that spends the least.
    """
    sure_m, arrives = np.where(able, sure_m, -1.0), np.where(able, arrives, -1.0)
    if sure_m.max() > 0 and not homeward:
        return int(np.flatnonzero(sure_m >= NEARLY * sure_m.max())[-1])
    if arrives.max() < HOPELESS:
        return int(np.argmin(np.median(home.total_w * home.takes_s, axis=0)))
    return int(np.flatnonzero(arrives >= arrives.max() - 0.005)[-1])


def home_reach(given: ReachInput, out_m: Floats, k_out: int, way: WayBack) -> HomeReach:
    """The way home from here.

    Args:
        given: The question "how far" as asked for the way out.
        out_m: Its answer at the speed gone outward, (n,). k_out: the index of that speed.
    """
    back = reach(replace(toward(given, way.course_deg), ahead=way.ahead))
    home = _back(back, way.distance_m)
    arrives = np.mean(home.able_m >= way.distance_m, axis=0)
    turn_deg = 180.0 if given.course_deg is None else way.course_deg - given.course_deg
    turn = _turning_m(out_m, home.able_m, way.distance_m, turn_deg)
    sure_m = np.quantile(turn, 1 - way.sureness_frac, axis=0)
    homeward = bool(np.cos(np.radians(turn_deg)) > HOMEWARD_COS)
    able = _sensible(home, arrives, way)
    k = _back_speed(home, sure_m, arrives, able, homeward)
    chosen, at_present = (_home_at(back, home, turn, at, way) for at in (k, k_out))
    return HomeReach(
        distance_m=way.distance_m,
        course_deg=way.course_deg,
        sureness_frac=way.sureness_frac,
        chosen=chosen,
        at_present=at_present,
        stream=way.stream,
        homeward=homeward,
    )


def _home_at(back: ReachResult, home: _Back, turn_m: Floats, k: int, way: WayBack) -> HomeAt:
    """The way home at the k-th speed: charge step by step, as a passage spends it."""
    soc, takes_s = back.pack.soc, home.takes_s[:, k]
    for _ in range(STEPS):
        soc = after_s(back.pack, home.total_w[:, k], soc, takes_s / STEPS)
        soc = np.maximum(soc, 0.0)
    dark_in_s, speed_mps = way.dark_in_s, float(back.speeds_mps[k])
    return HomeAt(
        speed_mps=speed_mps,
        can_return_frac=float(np.mean(home.able_m[:, k] >= way.distance_m)),
        charge_on_arrival=middle(soc, "frac"),
        turn_in=_turn_in(turn_m[:, k], way, speed_mps),
        takes=middle(takes_s, "s"),
        stream_gain=middle(home.made_mps[:, k] - speed_mps, "m/s"),
        before_dark_frac=None if dark_in_s is None else float(np.mean(takes_s <= dark_in_s)),
    )


def _turn_in(turn_m: Floats, way: WayBack, speed_mps: float) -> Estimate:
    """Distance that can still be gone outward; its low holds as surely as is wanted. [m]"""
    low, mid, high = np.quantile(turn_m, (1 - way.sureness_frac, 0.5, 0.9))
    reason = (
        f"the lower figure holds with {100 * way.sureness_frac:.0f} % sureness, back at "
        f"{speed_mps:.2f} m/s through water with the stream {way.stream}"
    )
    return Estimate(float(mid), float(low), float(high), "m", reason=reason)


def turn_lead_s(home: HomeReach, speed_ground_mps: float) -> float:
    """Time until the boat must turn, going outward at a speed; 0: now."""
    left = home.turn_in.low or 0.0
    return left / max(speed_ground_mps, 0.1)
