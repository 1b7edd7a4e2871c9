"""Live: when must the boat turn for home? Raised with lead time, while it motors.

Looks at the last two hours, thinned, and asks the way home the less often the farther off the
turning point is.
"""

from dataclasses import replace

import numpy as np

from analyzer.environment import stream_bins, stream_fit
from analyzer.environment.stream import Calibration
from analyzer.environment.wind import lately
from analyzer.estimation.detection import Detection, Level
from analyzer.estimation.estimate import Estimate
from analyzer.flags.recent import Recent
from analyzer.grounds.late import late
from analyzer.hull import hull
from analyzer.hull.steady import CHANNELS as STEADY_CHANNELS
from analyzer.hull.steady import steady
from analyzer.hull.steady_points import SteadyPoints
from analyzer.pack.soc import PackPosterior
from analyzer.range import inputs
from analyzer.range.home import (
    HOMEWARD_COS,
    HomeReach,
    WayBack,
    geodesic,
    great_circle,
    home_reach,
    turn_lead_s,
    way_back,
)
from analyzer.range.monte_carlo import Now
from analyzer.range.reach import reach
from analyzer.series.series import Floats, Series
from logger.boat import Boat
from logger.units import KN, NMI, UNDATED_S

CHANNELS = (*STEADY_CHANNELS, "latitude_deg", "longitude_deg")
# All assumed: how much of the log is looked at and how finely; time between two looks; lead time of
# a notice and of a warning; nearer home nobody needs telling; draws (a probability to 2 %); the
# charge must be known so well.
MEMORY_S, STEP_S = 2 * 3600.0, 5.0
SOONEST_S, LATEST_S = 60.0, 900.0
# Past its turning point or on its way home, a boat is looked at less often the longer the same is
# found, up to so far apart, unless it is less than so much surer of home than is wanted; who turns
# is seen at once in any case. Both assumed.
STANDING_S, AMPLY = 180.0, 0.05
NOTICE_S, WARNING_S = 20 * 60.0, 8 * 60.0
NEAR_HOME_M = 500.0
DRAWS = 500
SURE_CHARGE_SD = 0.10
# What distances and, by a fifth of a degree, courses on a sphere are off by at the most (by
# arithmetic from the earth's flattening of 1/298), with room; assumed.
SPHERE_FRAC, SPHERE_COS = 0.01, 0.01
TURN, HOMEWARD = "way/home", "way/homeward"  # keys: to turn; that the way back is not sure


class Turning:
    """One boat's way home, followed through the log.

    Args:
        boat: With a home, else it stays silent.
        points, calibration: From earlier trips.

    Attributes:
        charge: As last followed; who follows it sets it before each chunk.
        over: Keys of what the last chunk shows to be over: who heads for home has turned.
    """

    def __init__(
        self,
        boat: Boat,
        points: SteadyPoints | None = None,
        calibration: Calibration | None = None,
    ) -> None:
        self.boat = boat
        self.points = points or SteadyPoints.none()
        self.calibration = calibration
        self._prior = hull.prior(boat)
        self._recent = Recent(CHANNELS, STEP_S, MEMORY_S)
        self._next_s = -np.inf
        self._wait_s = SOONEST_S
        self.charge: PackPosterior | None = None
        self._last: list[Detection] = []
        self._last_s = -np.inf
        self.over: frozenset[str] = frozenset()

    def detections(self) -> list[Detection]:
        """That the turning point is near, or home no longer sure, as last looked at."""
        return self._last

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        if self.boat.home is None or not chunk.n:
            return
        self._recent.add(chunk)
        now_s = chunk.t0_us / 1e6 + chunk.n * chunk.step_s
        was_over, self.over = self.over, self._shown_over()
        if self.over - was_over:
            self._last = [found for found in self._last if found.key not in self.over]
            self._next_s = now_s
        if now_s < self._next_s:
            return
        self._next_s = now_s + (SOONEST_S if self._last or self.over else LATEST_S / 3)
        known = self.charge is not None and self.charge.sd < SURE_CHARGE_SD
        found = self._look(self.charge, now_s) if known and self.charge else None
        if found is not None:
            self._last, self._last_s = found, now_s
        elif now_s - self._last_s > LATEST_S:
            self._last = []  # sailing or at anchor since: what was found is of another time

    def _shown_over(self) -> frozenset[str]:
        """What course and place of the last minute show to be over."""
        last = self._recent.last(SOONEST_S)
        here, home = _place(last), self.boat.home
        if here is None or home is None:
            return frozenset()
        course_deg = last.get("course_ground_deg")
        place = home.latitude_deg, home.longitude_deg
        # Mostly the sphere tells, many times faster.
        away_m, homeward_deg = great_circle(*here, *place)
        near = away_m < (1 + SPHERE_FRAC) * NEAR_HOME_M
        if not near and _toward(course_deg, homeward_deg) < HOMEWARD_COS - SPHERE_COS:
            return frozenset()
        away_m, homeward_deg = geodesic(*here, *place)
        if away_m < NEAR_HOME_M:
            return frozenset({TURN, HOMEWARD})
        turned = _toward(course_deg, homeward_deg) > HOMEWARD_COS
        return frozenset({TURN}) if turned else frozenset()

    def _look(self, charge: PackPosterior, now_s: float) -> list[Detection] | None:
        """What is found now; None where nothing steady can be judged."""
        log = self._recent.last()
        present = inputs.now(log, self.boat)
        here = _place(log)
        if present is None or here is None:
            return None
        way = way_back(self.boat, here, now_s if now_s > UNDATED_S else None)
        if way is None or way.distance_m < NEAR_HOME_M:
            return []
        told = self._ask(log, charge, present, way)
        lead_s = turn_lead_s(told, present.speed_ground_mps)
        found = _detections(told, lead_s)
        self._wait_s = self._until_next_s(told, lead_s, found)
        self._next_s = now_s + self._wait_s
        # Its stream and its hull's power would be those of other moments.
        comes_late = found and dict(late(log, self.boat, ("speed over ground",)))
        return [] if comes_late else found

    def _until_next_s(self, told: HomeReach, lead_s: float, found: list[Detection]) -> float:
        """How long what was found may stand: the turning point must not be passed unseen. [s]"""
        wait_s = float(np.clip(lead_s / 4, SOONEST_S, LATEST_S))
        passed = lead_s <= 0 or told.homeward
        amply = told.can_return_frac >= min(told.sureness_frac + AMPLY, 1.0)
        if not (passed and (found or amply)) or _told(found) != _told(self._last):
            return wait_s
        return max(wait_s, min(2 * self._wait_s, STANDING_S))

    def _ask(self, log: Series, charge: PackPosterior, present: Now, way: WayBack) -> HomeReach:
        stream = stream_fit.estimate(log, self.boat, before=self.calibration)
        points = SteadyPoints.join([self.points, steady(log, self.boat, stream)])
        known = inputs.RangeInputs(
            self.boat,
            charge,
            hull.fit(points, self._prior),
            stream,
            present=present,
            hotel_w=inputs.hotel_w(log, self.boat),
            wind=lately(log, stream_bins.heading_true(log)),
        )
        asked = known.question(n=DRAWS)
        as_now = asked.as_now
        assert as_now is not None  # asked with a present operating point
        # Outward, only the present speed matters.
        out = reach(replace(asked, speeds_mps=asked.speeds_mps[[as_now]], as_now=0))
        return home_reach(asked, out.distance_m[:, 0], as_now, way)


def _told(found: list[Detection]) -> list[tuple[str, Level]]:
    """What of it a flag shows first."""
    return [(one.key, one.level) for one in found]


def _detections(told: HomeReach, lead_s: float) -> list[Detection]:
    """A flag where the turning point is near, or home no longer sure."""
    sure = f"{100 * told.can_return_frac:.0f} % sure of getting home above the reserve"
    evidence = f"Home is {told.distance_m / NMI:.1f} nmi off; {sure} if turned now."
    speed = f"{told.back_speed_mps / KN:.1f} kn through the water"
    held = Detection(
        "the way home",
        "turn_back",
        evidence,
        1.0 - told.can_return_frac,
        Estimate(told.distance_m, None, None, "m"),
        key=TURN,
        channels=("pack_current_a", "speed_ground_mps"),
    )
    if told.homeward:
        if not told.homeward_in_doubt:
            return []
        slow = f"Slow to {speed}; have a sail or another harbour ready."
        return [replace(held, kind="way_home", key=HOMEWARD, first_action=slow)]
    if lead_s > NOTICE_S:
        return []
    level: Level = "notice" if lead_s > WARNING_S else "warning" if lead_s > 0 else "act now"
    title = f"turn for home within {lead_s / 60:.0f} minutes" if lead_s > 0 else ""
    return [replace(held, level=level, title=title, first_action=f"Turn for home at {speed}.")]


def _toward(course_deg: Floats, homeward_deg: float) -> float:
    """Lowest cosine between the courses, (n,), and the one home; -1 without a course."""
    off = np.radians(course_deg - homeward_deg)
    toward = np.cos(off[np.isfinite(off)])
    return float(toward.min()) if len(toward) else -1.0


def _place(log: Series) -> tuple[float, float] | None:
    """Latitude and longitude of the last fix."""
    lat, lon = log.get("latitude_deg"), log.get("longitude_deg")
    ok = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    return (float(lat[ok[-1]]), float(lon[ok[-1]])) if len(ok) else None
