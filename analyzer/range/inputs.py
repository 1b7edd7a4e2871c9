"""From a boat, its charge and the last minutes of its log to the question "how far"."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.cells.weak_cell import WeakCell
from analyzer.environment import sails
from analyzer.environment.stream import Stream
from analyzer.environment.sun_ahead import SunAhead
from analyzer.environment.wind import Wind, windage_m2
from analyzer.hull.power_curve import PowerCurve
from analyzer.pack.cell_model import chemistry, default_params
from analyzer.pack.soc import PackPosterior
from analyzer.range.hotel import AtRest, thought_w
from analyzer.range.monte_carlo import (
    NOW_LOG_SD,
    Now,
    ReachInput,
    Throttle,
    Weak,
    along_across,
)
from analyzer.range.reach import speeds_for
from analyzer.range.run_down.discharge import Limits
from analyzer.range.sample import sample
from analyzer.range.thermal_limit import Warmth
from analyzer.series.operating import (
    drive_threshold_w,
    motoring,
    propulsion_power_w,
    settled_power,
    settled_way,
    usual_hotel_w,
)
from analyzer.series.physics import GRAVITY
from analyzer.series.series import Series
from analyzer.thermal import copper
from analyzer.trips.trips import MOVING_MPS, ground_or_water_mps
from logger.boat import Boat, Hull

Floats = npt.NDArray[np.float64]

NOW_S, SHORT_NOW_S = 180.0, 60.0  # the present operating point is a mean over so long (assumed)
THROTTLE_S = 15.0  # long enough for readings that come every few seconds (assumed)
THROTTLE_MOVED = 0.25  # of the power: what 15 s lie off a mean of minutes without a step (assumed)
# How far back a step of the throttle is looked for, and in which steps: longer than an answer waits
# for steady motoring (assumed).
OLDEST_STEP_S, STEP_BACK_S = 240.0, 10.0
STRAIGHT_DEG = 20.0  # scatter of course over ground in a minute on one course (assumed)
USUAL_FROUDE = 0.28  # common practice, no source
MOTORING_SHARE = 0.9  # of the readings in it (assumed)
# Each end of a cable run: a joint of 5-15 µΩ and the contactor; common practice, no source.
LUG_OHM = 50e-6
SUN_COUNTS_W = 5.0  # of panels, from which on the days ahead are looked at; assumed
MOTOR_OFF = "motor off"
UNDER_WAY = f"{MOTOR_OFF}, under way"
# Where no pack is measured: the label's capacity and a usual cell's resistance (assumed).
CAPACITY_LOG_SD, RESISTANCE_LOG_SD = 0.05, 0.3


def cable_ohm(boat: Boat) -> float:
    """Pack to controller, there and back, warm; 0 where the boat file names no cable."""
    total = 0.0
    for cable in boat.cable:
        if cable.current_channel == "pack_current_a":
            wire = copper.ohm_per_m_20c(cable) * cable.length_m
            total += float(copper.at_temp(wire, 40.0)) + 2 * LUG_OHM
    return total


def limits(boat: Boat) -> Limits:
    """What ends a run on this boat."""
    cutoff = boat.pack.cell_cutoff_v or chemistry(boat.pack.chemistry).cutoff_v
    controller = boat.motor.cutback_v or boat.motor.shutdown_v
    return Limits(boat.reserve.soc_frac, cutoff, controller, cable_ohm(boat))


def usual_speed_mps(hull: Hull) -> float:
    """Speed that such a boat is motored at: as the file says, else a Froude number of 0.28."""
    if hull.cruising_speed_mps:
        return hull.cruising_speed_mps
    return float(USUAL_FROUDE * np.sqrt(GRAVITY * hull.waterline_m))


def weak(cell: WeakCell | None) -> Weak:
    """The weakest cell as the run-down wants it; none found: cells are alike."""
    if cell is None:
        return Weak()
    deficits = tuple((one.weight, one.mean, one.sd) for one in cell.deficits)
    return Weak((cell.r_excess_ohm, cell.r_excess_sd_ohm), deficits)


def now(series: Series, boat: Boat) -> Now | None:
    """The present operating point; None where the boat is not motoring steadily.

    A mean of the last three minutes; of the last one where the three before were not alike.

    Args:
        series: Ends now; at least the last minute.
    """
    found = (_steady(series, boat, last_s) for last_s in (NOW_S, SHORT_NOW_S))
    return next((point for point in found if point is not None), None)


def _steady(series: Series, boat: Boat, last_s: float) -> Now | None:
    """The mean of so long a time, where speed, power and course held still in it."""
    size = max(round(last_s / series.step_s), 2)
    if series.n < size:
        return None
    last = series.cut(series.n - size, series.n)
    power = propulsion_power_w(last, boat)
    speed, course = last.get("speed_ground_mps"), np.radians(last.get("course_ground_deg"))
    ok = np.isfinite(power) & np.isfinite(speed) & np.isfinite(course)
    if ok.sum() * 2 < size or motoring(last, boat)[ok].mean() < MOTORING_SHARE:
        return None
    power, speed, course = power[ok], speed[ok], course[ok]
    mean = float(power.mean())
    # Over minutes at one power the stream may change the speed: only the last one is asked.
    asked = speed if last_s < NOW_S else np.zeros_like(speed)
    if not settled_power(power[None])[0]:
        return None
    newest_w = throttle_w(series, boat)
    if newest_w is None or not abs(newest_w - mean) < THROTTLE_MOVED * mean:
        return None
    if not settled_way(asked[None], np.sin(course)[None], np.cos(course)[None])[0]:
        return None
    toward = np.degrees(np.arctan2(np.sin(course).mean(), np.cos(course).mean()))
    thought = boat.hotel.measured_in_pack_current and not last.has("hotel_power_w")
    sd = NOW_LOG_SD * float(np.sqrt(NOW_S / last_s))
    taken_w = usual_hotel_w(boat)[0]
    unseen_sun = boat.solar.peak_w > 0 and not last.has("solar_power_w")
    here = float(speed.mean()), float(toward % 360.0)
    return Now(*here, mean, sd, less_hotel=thought, less_sun=unseen_sun, taken_w=taken_w)


def before_step(series: Series, boat: Boat) -> Now | None:
    """The last steady operating point, on the present course, before the throttle was moved.

    Minutes ago, so that stream, wind and sea were those of now.

    Args:
        series: Ends now.
    """
    course_deg = straight_course_deg(series)
    if course_deg is None:
        return None
    for ago_s in np.arange(STEP_BACK_S, OLDEST_STEP_S, STEP_BACK_S):
        point = now(series.cut(0, max(series.n - round(ago_s / series.step_s), 0)), boat)
        if point is not None:
            off_deg = abs((point.course_deg - course_deg + 180.0) % 360.0 - 180.0)
            return point if off_deg < STRAIGHT_DEG else None
    return None


def throttle_w(series: Series, boat: Boat) -> float | None:
    """Power that the throttle stands at, where the boat motors; None where it does not. [W]

    A mean of the last readings: speed follows a step of the throttle within a minute or so, its
    power at once.
    """
    size = max(round(THROTTLE_S / series.step_s), 2)
    if series.n < size:
        return None
    last = series.cut(series.n - size, series.n)
    power = propulsion_power_w(last, boat)
    ok = np.isfinite(power)
    if not ok.any() or motoring(last, boat)[ok].mean() < MOTORING_SHARE:
        return None
    mean_w = float(power[ok].mean())
    return mean_w if mean_w > 0 else None  # the shaft drives and the current says it charges


def moving_mps(series: Series) -> float | None:
    """Speed over ground of the last seconds; None where it is not measured."""
    last = series.cut(max(series.n - max(round(THROTTLE_S / series.step_s), 2), 0), series.n)
    speed_mps = last.get("speed_ground_mps")
    ok = np.isfinite(speed_mps)
    return float(speed_mps[ok].mean()) if ok.any() else None


def straight_course_deg(series: Series) -> float | None:
    """Course over ground of the last minute, where that was one; None where it was not. [deg]"""
    last = series.cut(max(series.n - round(SHORT_NOW_S / series.step_s), 0), series.n)
    course = np.radians(last.get("course_ground_deg"))
    course = course[np.isfinite(course)]
    if len(course) * 2 < last.n:
        return None
    east, north = float(np.sin(course).mean()), float(np.cos(course).mean())
    if np.hypot(east, north) < np.cos(np.radians(STRAIGHT_DEG)):
        return None
    return float(np.degrees(np.arctan2(east, north)) % 360.0)


def speed_at_w(curve: PowerCurve, power_w: float) -> float:
    """Speed through water at which the curve asks for a power. [m/s]"""
    rising = np.maximum.accumulate(curve.log_power)
    return float(np.interp(np.log(max(power_w, 1.0)), rising, curve.speed_mps))


def doing(series: Series, boat: Boat) -> str:
    """What the motor does in the last minute, in words, and why that is not taken as steady."""
    if now(series, boat) is not None:
        return "motoring steadily"
    last = series.cut(series.n - max(round(SHORT_NOW_S / series.step_s), 2), series.n)
    power = propulsion_power_w(last, boat)
    power = power[np.isfinite(power)]
    if not len(power):
        return "the motor's power is not measured"
    if power.mean() < drive_threshold_w(boat) or not motoring(last, boat).any():
        speed = ground_or_water_mps(last)
        speed = speed[np.isfinite(speed)]
        return UNDER_WAY if len(speed) and speed.mean() > MOVING_MPS else MOTOR_OFF
    if not np.isfinite(last.get("speed_ground_mps") + last.get("course_ground_deg")).any():
        return "motoring, with no speed and course over ground to go by"
    return "motoring, not steadily yet"


def hotel_w(series: Series, boat: Boat, learned: AtRest | None = None) -> tuple[float, float]:
    """The load beside the motor, measured lately or thought: (mean, standard deviation). [W]

    Args:
        learned: What the pack's shunt showed while the motor was off, on this or earlier trips.
    """
    if series.has("hotel_power_w"):
        return mean_sd(series, "hotel_power_w")
    return thought_w(boat, learned)


def mean_sd(series: Series, name: str) -> tuple[float, float]:
    """A measured power's mean and uncertainty over the last half hour; none where it is not."""
    size = max(round(1800.0 / series.step_s), 1)
    values = series.get(name)[-size:]
    values = values[np.isfinite(values)]
    if not len(values):
        return 0.0, 0.0
    return float(values.mean()), max(float(values.std()), 0.1 * abs(float(values.mean())))


def present_water_mps(given: ReachInput, present: Now) -> float:
    """Present speed through water: the posterior mean over streams and power curves.

    Two witnesses: the speed over ground less the stream, and the power on the curve. Where no
    stream is known the power tells most of it, where it is known well the ground speed does.
    """
    stream = sample(given).draws.stream
    along, across = along_across(*stream.now(), present.course_deg)
    return float(np.hypot(present.speed_ground_mps - along, across).mean())


@dataclass(frozen=True)
class RangeInputs:
    """What "how far" rests on at one moment: the headline, its table, home, plan and hindcast.

    Args:
        charge: None where the pack is not measured: its charge is then to be filled in.
        curve: Propulsion power against speed through water.
        hotel_w, solar_w: (mean, sd); hotel None: the boat file's figure.
        weakest: A cell found behind the others.
        present: The present operating point, where the boat motors steadily.
        wind: Measured lately or given; None: carried as uncertainty.
        warmths: Of motor and controller, where they may get too hot at a speed.
        place_deg: Latitude and longitude, for the sun of the hours ahead.
        course_deg: Over ground, held while speed and power settle.
        throttle_w: Power that the throttle stands at, where the boat motors. [W]
        before: Steady operating point until the throttle was moved.
        speed_ground_mps: While it settles; None where it is not known.
    """

    boat: Boat
    charge: PackPosterior | None
    curve: PowerCurve
    stream: Stream
    hotel_w: tuple[float, float] | None = None
    solar_w: tuple[float, float] = (0.0, 0.0)
    weakest: WeakCell | None = None
    present: Now | None = None
    wind: Wind | None = None
    warmths: tuple[Warmth, ...] = ()
    place_deg: tuple[float, float] | None = None
    course_deg: float | None = None
    throttle_w: float | None = None
    before: Now | None = None
    speed_ground_mps: float | None = None

    @classmethod
    def from_snapshot(cls, boat: Boat, snapshot: object, **changes: Any) -> "RangeInputs":
        """As a log's moment has it, whose fields have the same names, with changes."""
        names = (field.name for field in fields(cls) if hasattr(snapshot, field.name))
        return cls(boat, **{name: getattr(snapshot, name) for name in names} | changes)

    def question(
        self,
        course_deg: float | None = None,
        speeds_mps: Floats | None = None,
        also_mps: float | None = None,
        n: int = 1000,
        seed: int = 1,
    ) -> ReachInput:
        """The question for `analyzer.range.reach.reach`.

        Args:
            course_deg: To be held over ground; None: the present one, if there is one.
            speeds_mps: Through water, rising, (k,); None: twenty worth asking for. The present
                one is put among them where the boat motors on this course.
            also_mps: One more that has to be among them.
        """
        boat, present = self.boat, self.present
        if course_deg is None:
            course_deg = present.course_deg if present is not None else self.course_deg
        if speeds_mps is None:
            speeds_mps = speeds_for(self.curve, boat.motor.rated_power_w)
        if also_mps is not None:
            speeds_mps = np.unique(np.append(speeds_mps, also_mps))
        given = ReachInput(
            curve=self.curve,
            stream=self.stream,
            charge=self._charge_draws(n, seed),
            kind=chemistry(boat.pack.chemistry),
            cells=boat.pack.cells_in_series,
            limits=limits(boat),
            course_deg=course_deg,
            speeds_mps=np.asarray(speeds_mps, dtype=np.float64),
            hotel_w=self.hotel_w or usual_hotel_w(boat),
            solar_w=self.solar_w,
            weak=weak(self.weakest),
            now=present,
            wind=self.wind,
            windage_m2=windage_m2(boat.hull),
            sails_frac=sails.prior(boat.hull),
            sun_ahead=self._sun_ahead(),
            warmths=self.warmths,
            seed=seed,
        )
        if present is None and self.throttle_w is not None and course_deg == self.course_deg:
            return self._at_throttle(given, self.throttle_w)
        if present is None or course_deg != present.course_deg:
            return given
        own_mps = present_water_mps(given, present)
        speeds_mps = np.unique(np.append(given.speeds_mps, own_mps))
        as_now = int(np.searchsorted(speeds_mps, own_mps))
        return replace(given, speeds_mps=speeds_mps, as_now=as_now)

    def _at_throttle(self, given: ReachInput, power_w: float) -> ReachInput:
        """The question with the speed among its own that the throttle's power will give."""
        own_mps = speed_at_w(self.curve, power_w)
        speeds_mps = np.unique(np.append(given.speeds_mps, own_mps))
        as_now = int(np.searchsorted(speeds_mps, own_mps))
        log_sd = NOW_LOG_SD * float(np.sqrt(NOW_S / THROTTLE_S))
        throttle = Throttle(power_w, log_sd, self.speed_ground_mps)
        return replace(
            given, speeds_mps=speeds_mps, throttle=throttle, before=self.before, as_now=as_now
        )

    def _charge_draws(self, n: int, seed: int) -> Mapping[str, Floats]:
        """Draws of the pack; at half charge where it is not measured."""
        rng = np.random.default_rng(seed)
        if self.charge is not None:
            return self.charge.draws(n, rng)
        cell = default_params(self.boat.pack)
        capacity_ah = cell.capacity_ah * np.exp(CAPACITY_LOG_SD * rng.standard_normal(n))
        factor = np.exp(RESISTANCE_LOG_SD * rng.standard_normal(n))
        return {
            "soc": np.full(n, 0.5),
            "capacity_ah": capacity_ah,
            "r0_ohm": cell.r0_ohm * factor,
            "r1_ohm": cell.r1_ohm * factor,
            "r2_ohm": cell.r2_ohm * factor,
        }

    def _sun_ahead(self) -> SunAhead | None:
        """What the panels may give in the days ahead; None where there are none."""
        if self.charge is None or max(self.boat.solar.peak_w, self.solar_w[0]) < SUN_COUNTS_W:
            return None
        peak_w, now_w = self.boat.solar.peak_w, self.solar_w[0]
        return SunAhead.at(self.place_deg, self.charge.t_us / 1e6, peak_w, now_w)
