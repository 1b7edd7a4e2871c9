"""The days of an invented boat of a kind, as they are recorded, and the moments to ask at.

`story` gives, in the order of time, records (what the logger would hold) and moments (what is to
be asked, with the boat as it then truly is). Earlier outings come first, each with its charging
alongside; the last outing holds the moments.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.instruments import sensors
from replay.boatsim.outing import Outing
from replay.boatsim.physics.hull import GRAVITY_MPS2
from replay.boatsim.physics.place import Place, Sky, Stream, Wind
from replay.boatsim.scene import Leg
from tests.boats.day import STEP_S, Climate, Day
from tests.boats.kind_boat import LEAD, KindBoat
from tests.boats.kinds import KITS
from tests.boats.random_boat import drive_input_w
from tests.boats.random_day import random_place
from tests.boats.runner import Runner, Truth, ended, run_on

Floats = npt.NDArray[np.float64]
Rng = np.random.Generator

FIRST_UTC_S = 1777622400.0  # 2026-05-01 08:00:00 UTC
GPS = ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg")
SHORE_EVERY = 5  # steps of the day in one of a charge
LEFT_FRAC = (0.78, 0.52, 0.30)  # of the charge above the reserve, at the moments
JUST_S = 44.0  # after a change of throttle
LOST_FRAC = 0.002


@dataclass(frozen=True)
class Record:
    """A stretch as the logger holds it. mono_s: of the first row on the boot's clock.

    channels: shape (n,) each, NaN where missing, `step_s` apart. alongside: on shore power.
    boot_utc_s: UTC at the boot clock's zero; None where nothing tells the date.
    """

    boot: str
    mono_s: float
    step_s: float
    boot_utc_s: float | None
    channels: dict[str, Floats]
    alongside: bool


@dataclass(frozen=True)
class Moment:
    """A moment under way at which to ask.

    Args:
        runner: The boat as it is. leg: as it goes on, throttle and course held.
        speed_mps, course_deg: Lately, through water and made good over the ground.
        just_changed: The throttle was moved within the last minute.
    """

    runner: Runner
    leg: Leg
    speed_mps: float
    course_deg: float
    soc_frac: float
    just_changed: bool
    mono_s: float

    def truth(self) -> Truth:
        """How far the boat then goes."""
        return run_on(self.runner, self.leg, self.course_deg)

    def otherwise(self, rng: Rng) -> Truth:
        """How far it would go with other wind, gusts, eddies, clouds and loads from here on."""
        other = self.runner.copy()
        other.day = other.day.otherwise(other.at, rng)
        return run_on(other, self.leg, self.course_deg)


def climate(of: KindBoat, place: Place, rng: Rng) -> Climate:
    """A day's weather and water for a kind."""
    kind = of.kind
    peak, way = float(rng.uniform(*kind.stream_mps)), float(rng.uniform(0, 2 * math.pi))
    east, north = math.sin(way), math.cos(way)
    if kind.river:
        stream = Stream((peak * east, 0.0, 0.0), (peak * north, 0.0, 0.0), 0.05)
    else:
        late, thin = float(rng.uniform(0, 2 * math.pi)), float(rng.uniform(0, 0.3)) * peak
        c, s = peak * math.cos(late), peak * math.sin(late)
        stream = Stream(
            (0.0, c * east + thin * s * north, s * east - thin * c * north),
            (0.0, c * north - thin * s * east, s * north + thin * c * east),
            0.02 + 0.05 * peak,
        )
    veer = float(rng.uniform(*kind.veer_deg_h)) * float(rng.choice([-1, 1]))
    wind = Wind(float(rng.uniform(*kind.wind_mps)), float(rng.uniform(0, 360)),
                float(rng.uniform(0.1, 0.2)), veer)  # fmt: skip
    sky = Sky(place.latitude_deg, int(rng.integers(90, 270)), float(rng.uniform(0.5, 4)) * 3600,
              0.8, 0.2, float(rng.uniform(*kind.air_c)))  # fmt: skip
    return Climate(stream, wind, sky, cloud=float(rng.normal(0, 0.8)))


class _Log:
    """Turns outings into records."""

    def __init__(self, of: KindBoat, place: Place, rng: Rng) -> None:
        self.of, self.place, self.rng = of, place, rng
        self.boot, self.mono_s, self.utc_s = "", 20.0, FIRST_UTC_S
        self.gps_silent, self.zero_a = False, 0.0

    def new_boot(self, day: int) -> None:
        """A new day."""
        self.boot, self.mono_s = f"{self.of.kind.name}-{self.of.number}-{day}", 20.0
        self.utc_s = FIRST_UTC_S + 86400.0 * day

    def skip(self, seconds: float) -> None:
        """Time passes unrecorded."""
        self.mono_s += seconds

    def record(self, out: Outing, alongside: bool = False) -> Record:
        """What the boat's kit says of a stretch."""
        senses, rng, n = sensors.electric(out), self.rng, out.n
        said = {k: senses[k](v, rng) for k, v in sensors.truth(out).items()}
        nav = sensors.navigation(out, self.place, rng, None)
        said |= {k: sensors.NAVIGATION[k](v, rng) for k, v in nav.items()}
        said["course_ground_deg"][said["speed_ground_mps"] < 0.15] = np.nan
        said["variation_deg"] = np.full(n, self.place.variation_deg)
        self._misbehave(said, n, out.motion.dt_s)
        wanted = KITS[self.of.kind.kit]
        kept = {k: v for k, v in said.items() if k in GPS or k.startswith(wanted)}
        if self.of.kind.cells in LEAD:
            kept = {_block(k): v for k, v in kept.items()}
        utc_s = self.utc_s if self.of.kind.dated else None
        first, self.mono_s = self.mono_s, self.mono_s + n * out.motion.dt_s
        return Record(self.boot, first, out.motion.dt_s, utc_s, kept, alongside)

    def _misbehave(self, said: dict[str, Floats], n: int, step_s: float) -> None:
        steps, rng = self.of.kind.offset_steps_a, self.rng
        if steps:  # the zero jumps about every forty minutes
            jumps = rng.random(n) < step_s / 2400.0
            zero = self.zero_a + steps * np.cumsum(jumps * rng.choice([-1.0, 1.0], n))
            zero = np.clip(zero, -1.5 * steps, 1.5 * steps)
            said["pack_current_a"] += zero
            self.zero_a = float(zero[-1]) if n else self.zero_a
        if self.gps_silent:
            for name in GPS:
                said[name][:] = np.nan
        for value in said.values():
            value[rng.random(n) < LOST_FRAC] = np.nan


def _block(name: str) -> str:
    if name.startswith("cell_"):
        return f"block_{int(name[5:7])}_voltage_v"
    return name


class _Skipper:
    """Chooses legs."""

    def __init__(self, of: KindBoat, rng: Rng) -> None:
        self.of, self.rng = of, rng
        self.outward = float(rng.uniform(0, 360))
        low, high = (0.22, 0.46) if of.kind.hull == "launch" else (0.20, 0.34)
        root = math.sqrt(GRAVITY_MPS2 * of.boat.hull.waterline_m)
        fastest = high * root
        volts = of.shore.volts * 0.93
        most_w = volts * of.boat.rated_ah * of.label_frac / (3.0 if of.kind.cells in LEAD else 1.4)
        most_w = min(most_w, of.boat.drive.rated_power_w)
        while drive_input_w(of.boat.hull, of.boat.water, of.boat.drive, fastest) > most_w:
            fastest *= 0.97
        self.speeds = (min(low * root, 0.7 * fastest), fastest)

    def leg(self, homewards: bool, seconds: tuple[float, float] = (480.0, 1500.0)) -> Leg:
        """The next leg under way."""
        rng = self.rng
        course = self.outward + 180.0 * homewards + float(rng.normal(0, 35))
        speed = float(rng.uniform(*self.speeds))
        sails = float(rng.random()) < self.of.kind.motor_sailing
        doing, help_mps = ("motorsailing", 0.75 * speed) if sails else ("motoring", 0.0)
        lasts = 2 * round(float(rng.uniform(*seconds)) / 2)
        return Leg(doing, lasts, speed, None, help_mps, course_deg=course % 360)  # type: ignore[arg-type]


def days_place(of: KindBoat) -> Place:
    """Where the boat is at home."""
    return random_place(np.random.default_rng([of.number, 47, *of.kind.name.encode()]))


def story(of: KindBoat, earlier: int = 2) -> Iterator[Record | Moment]:
    """All that happens; see the module. earlier: outings before the one that is asked about."""
    rng = np.random.default_rng([of.number, 43, *of.kind.name.encode()])
    place = days_place(of)
    log = _Log(of, place, rng)
    runner: Runner | None = None
    for day in range(earlier + 1):
        log.new_boot(day)
        runner = _morning(of, Day.drawn(of.boat, climate(of, place, rng), rng), runner, rng)
        yield log.record(runner.run(Leg("lying", float(rng.uniform(300, 600)))))
        if day == earlier:
            yield from _asked(of, runner, log, rng)
        else:
            yield from _outing(of, runner, log, rng)
            yield from _charge(of, runner, log, rng)


def _morning(of: KindBoat, day: Day, before: Runner | None, rng: Rng) -> Runner:
    """The boat at its berth on a new day, the pack as the evening left it."""
    if before is None:
        count = len(of.boat.cells.capacity_ah)
        soc = 0.97 + of.boat.charge_spread * rng.standard_normal(count)
        soc -= of.boat.faults.charge_deficit(count)
        return Runner(of.boat, day, of.shore, soc)
    before.rest(8.0, day.climate.sky.air_c + 1.0)
    runner = Runner(of.boat, day, of.shore)
    runner.electric.battery = before.electric.battery
    runner.electric.begun_s = before.electric.begun_s
    return runner


def _outing(of: KindBoat, runner: Runner, log: _Log, rng: Rng) -> Iterator[Record]:
    """Out and back, to a charge drawn between a third and two thirds (above the reserve)."""
    skipper, start = _Skipper(of, rng), float(runner.electric.battery.soc.mean())
    end = max(float(rng.uniform(0.32, 0.65)), of.boat.reserve_frac + 0.06)
    for _ in range(40):
        soc = float(runner.electric.battery.soc.mean())
        out = runner.run(skipper.leg(soc < 0.5 * (start + end)))
        yield log.record(out)
        if float(out.soc_frac[-1]) <= end or ended(of.boat, out)[0] is not None:
            return


def _charge(of: KindBoat, runner: Runner, log: _Log, rng: Rng) -> Iterator[Record]:
    """On the shore's charger until nothing goes in any more, or left early (three in ten)."""
    lack = 1 - float(runner.electric.battery.soc.mean())
    bulk_h = lack * of.boat.rated_ah * of.label_frac / of.shore.current_a
    whole_h = bulk_h * 1.05 + (3.5 if of.kind.cells in LEAD else 1.0)
    hours = whole_h if rng.random() < 0.7 else bulk_h * float(rng.uniform(0.5, 0.9))
    seconds = round(min(hours, 12.0) * 3600 / 60) * 60.0
    runner.helm.v = 0.0
    out = runner.run(Leg("shore", seconds), SHORE_EVERY)
    if of.kind.charging == "recorded":
        yield log.record(out, alongside=True)


def _asked(of: KindBoat, runner: Runner, log: _Log, rng: Rng) -> Iterator[Record | Moment]:
    """The last outing, with a moment at each of `LEFT_FRAC`, one of them just after a change."""
    skipper, reserve = _Skipper(of, rng), of.boat.reserve_frac
    above = float(runner.electric.battery.soc.mean()) - reserve
    changed = int(rng.integers(0, 2 * len(LEFT_FRAC)))  # none in half of the boats
    for k, left in enumerate(LEFT_FRAC):
        for _ in range(30):
            leg = skipper.leg(k > 1)
            out = runner.run(leg)
            yield log.record(out)
            if ended(of.boat, out)[0] is not None:
                return
            if float(out.soc_frac[-1]) - reserve <= left * above and leg.doing != "sailing":
                break
        if k == changed:
            speed = leg.speed_mps * (0.75 if leg.speed_mps > sum(skipper.speeds) / 2 else 1.3)
            leg = Leg(leg.doing, JUST_S, speed, None, leg.sail_mps, course_deg=leg.course_deg)
            out = runner.run(leg)
            yield log.record(out)
        yield _moment(runner, leg, out, k == changed, log.mono_s)
        log.gps_silent = of.kind.gps_lost


def _moment(runner: Runner, leg: Leg, out: Outing, changed: bool, mono_s: float) -> Moment:
    few = min(int(300 / STEP_S), out.n)
    east, north = out.motion.east_mps[-few:].mean(), out.motion.north_mps[-few:].mean()
    course = math.degrees(math.atan2(east, north)) % 360
    held = Leg(leg.doing, 60.0, leg.speed_mps, None, leg.sail_mps, course_deg=course,
               turns_rps=runner.helm.turns)  # fmt: skip
    speed = float(out.motion.speed_water_mps[-min(few, 5) :].mean())
    soc = float(runner.electric.battery.soc.mean())
    return Moment(runner.copy(), held, speed, course, soc, changed, mono_s)
