"""Changes to a boat that has been drawn: of pack, cells, cables, loads, sun and power.

What was measured belongs to the boat as it is: draws are conditioned on it first, and what is
changed is put into each of them afterwards. The same draws with and without the change (common
random numbers) leave only the difference, so that small gains show.

Source: common random numbers, e.g. P. Glasserman, "Monte Carlo Methods in Financial Engineering",
2003, section 4.1 and 7.1.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.sun_ahead import SunAhead
from analyzer.pack.cell_model import default_cell
from analyzer.range.monte_carlo import ReachInput, Weak, along_across, at_least_zero
from analyzer.range.run_down.pack_draws import SOC_GRID, PackDraws
from analyzer.range.sample import Sample, Then
from analyzer.series.operating import HOTEL_SPREAD
from logger.boat import Pack

Floats = npt.NDArray[np.float64]

OHMS = ("r0_ohm", "r1_ohm", "r2_ohm")
# Of a new string's resistance about that of its size, in ln; assumed, as for an unmeasured pack.
NEW_LOG_SD = 0.3
LEAST_LEFT = 0.5  # of a power that a better cable leaves; keeps logarithms finite, assumed
MIDDLE_SOC = 0.5  # charge at which the pack's voltage stands for that of the whole run; assumed


def _count(given: ReachInput) -> int:
    return len(given.charge["soc"])


def own_rng(given: ReachInput, tag: int) -> np.random.Generator:
    """Random numbers of a change alone, so that the boat's own draws stay as they are."""
    own = given.seed, _count(given), tag
    return np.random.default_rng(own)


def _with_charge(given: ReachInput, changed: Mapping[str, Floats]) -> ReachInput:
    charge = {**given.charge, **changed}
    return replace(given, charge=charge)


def _ohms(given: ReachInput) -> list[str]:
    """Names of the resistances that are drawn."""
    return [name for name in OHMS if name in given.charge]


def after(given: ReachInput, then: Then) -> ReachInput:
    """The question with one more change to what is drawn."""
    changes = (*given.changes, then)
    return replace(given, changes=changes)


def larger_pack(given: ReachInput, factor: float) -> ReachInput:
    """The same kind of pack in the same state with so many times the ampere-hours.

    Plates in parallel: resistance goes with one over the size.
    """
    charge = given.charge
    changed = {"capacity_ah": charge["capacity_ah"] * factor}
    for name in _ohms(given):
        changed[name] = charge[name] / factor
    larger = _with_charge(given, changed)
    return _weak_ohm_times(larger, 1 / factor)


def _weak_ohm_times(given: ReachInput, factor: float) -> ReachInput:
    """So many times what the weakest cell resists more."""
    mean, sd = given.weak.resistance_ohm
    more_ohm = mean * factor, sd * factor
    weak = replace(given.weak, resistance_ohm=more_ohm)
    return replace(given, weak=weak)


def resistance(given: ReachInput, factor: float) -> ReachInput:
    """Cells of so many times the resistance."""
    changed = {}
    for name in _ohms(given):
        changed[name] = given.charge[name] * factor
    return _with_charge(given, changed)


def second_pack(given: ReachInput, pack: Pack) -> ReachInput:
    """A new pack of the label's size beside the one aboard, in parallel.

    Charges add, conductances add, and the weakest cell carries its string's share of the current.
    Both are taken to stand at the same share of charge.
    """
    charge = given.charge
    n = _count(given)
    rng = own_rng(given, 1)
    unaged = pack.model_copy(update={"age_years": 0.0})
    new = default_cell(unaged)
    weight, mean, sd = np.array(new.capacity).T
    chance = weight / weight.sum()
    part = rng.choice(len(weight), n, p=chance)
    normal = rng.standard_normal(n)
    log_size = mean[part] + sd[part] * normal
    log_factor = NEW_LOG_SD * rng.standard_normal(n)
    factor = np.exp(log_factor)
    beside_ah = new.params.capacity_ah * np.exp(log_size)
    changed = {"capacity_ah": charge["capacity_ah"] + beside_ah}
    for name in _ohms(given):
        beside_ohm = getattr(new.params, name) * factor
        both_ohm = charge[name] + beside_ohm
        changed[name] = charge[name] * beside_ohm / both_ohm
    shares = changed["r0_ohm"] / charge["r0_ohm"]
    share = float(np.median(shares))
    both = _with_charge(given, changed)
    return _weak_ohm_times(both, share)


def cells_in_series(given: ReachInput, cells: int) -> ReachInput:
    """So many cells of the same kind and state."""
    return replace(given, cells=cells)


def warmed(given: ReachInput, temp_c: float) -> ReachInput:
    """The pack at another temperature."""
    every_c = np.full(_count(given), temp_c)
    return _with_charge(given, {"temp_c": every_c})


def no_weak_cell(given: ReachInput) -> ReachInput:
    """The weakest cell levelled or replaced: all are alike."""
    return replace(given, weak=Weak())


def better_path(given: ReachInput, less_ohm: tuple[float, float]) -> ReachInput:
    """Less resistance between pack and controller.

    Args:
        less_ohm: What falls away, there and back: mean and standard deviation. [ohm]
    """
    mean_ohm, sd_ohm = less_ohm
    cable_ohm = max(given.limits.cable_ohm - mean_ohm, 0.0)
    limits = replace(given.limits, cable_ohm=cable_ohm)
    limited = replace(given, limits=limits)
    return after(limited, LessOhm(mean_ohm, sd_ohm))


def hotel_load(given: ReachInput, mean_w: float) -> ReachInput:
    """Another load beside the motor. [W]"""
    return after(given, HotelLoad(mean_w))


def sun_times(given: ReachInput, factor: float) -> ReachInput:
    """So many times the panels, in the same sun and shade."""
    sun = given.sun_ahead and given.sun_ahead.times(factor)
    sunny = replace(given, sun_ahead=sun)
    return after(sunny, SunTimes(factor))


def first_panels(
    given: ReachInput, solar_w: tuple[float, float], sun_ahead: SunAhead | None
) -> ReachInput:
    """Panels where there were none. solar_w: (mean, sd) of what they give now. [W]"""
    sunny = replace(given, sun_ahead=sun_ahead)
    return after(sunny, FirstPanels(solar_w))


@dataclass(frozen=True)
class LessOhm:
    """Power that a better path to the controller saves: I² times what falls away, I = P / V.

    Args:
        mean_ohm, sd_ohm: What falls away; below nothing it is a worse path. [ohm]
    Source: Ohm's law.
    """

    mean_ohm: float
    sd_ohm: float = 0.0

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with that power saved."""
        draws = drawn.draws
        rng = own_rng(given, 2)
        normal = rng.standard_normal(len(draws.aside))
        less = self.mean_ohm + self.sd_ohm * normal
        if self.mean_ohm > 0:
            less = np.maximum(less, 0.0)  # a joint found bad is never better than none
        power_w = np.exp(draws.log_power)
        log_left = np.log(_left_w(power_w, less, drawn.pack))
        lines = np.maximum.accumulate(log_left, axis=1)
        now_w = _left_w(draws.now_w[:, None], less, drawn.pack)
        saved = replace(draws, log_power=lines, now_w=now_w[:, 0])
        return replace(drawn, draws=saved)


def _left_w(power_w: Floats, less_ohm: Floats, pack: PackDraws) -> Floats:
    """Power that is still drawn, (n, m) of (n, m) and (n,). [W]"""
    current_a = power_w / loaded_v(pack, power_w)
    saved_w = np.square(current_a) * less_ohm[:, None]
    least_w = LEAST_LEFT * power_w
    return np.asarray(np.maximum(power_w - saved_w, least_w))


def loaded_v(pack: PackDraws, power_w: Floats) -> Floats:
    """The pack's voltage under powers at half charge: V = E - R P / V, (n, m) of (n, m). [V]"""
    cell_v = np.interp(MIDDLE_SOC, SOC_GRID, pack.ocv_v) + pack.shift_v
    pack_v = pack.cells * cell_v
    open_v = pack_v[:, None]
    pack_ohm = pack.cells * pack.resistance_ohm
    ohm = pack_ohm[:, None]
    inside = np.square(open_v) - 4 * ohm * power_w
    root = np.sqrt(np.maximum(inside, 0.0))
    return np.asarray((open_v + root) / 2)


@dataclass(frozen=True)
class HotelLoad:
    """Another mean load; its spread goes along. mean_w: [W]"""

    mean_w: float

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with that load."""
        load = drawn.draws.hotel_w
        now_w = float(load.mean())
        if now_w > 0:
            load = load * (self.mean_w / now_w)
        else:
            rng = own_rng(given, 3)
            normal = rng.standard_normal(len(load))
            spread = 1 + HOTEL_SPREAD * normal
            load = np.maximum(self.mean_w * spread, 0.0)
        loaded = replace(drawn.draws, hotel_w=load)
        return replace(drawn, draws=loaded)


@dataclass(frozen=True)
class SunTimes:
    """Panels of another size."""

    factor: float

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with so many times the sun."""
        sun_w = drawn.draws.sun_w * self.factor
        sunny = replace(drawn.draws, sun_w=sun_w)
        return replace(drawn, draws=sunny)


@dataclass(frozen=True)
class FirstPanels:
    """Panels where there were none. solar_w: (mean, sd) now. [W]"""

    solar_w: tuple[float, float]

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with their sun."""
        count = len(drawn.draws.sun_w)
        rng = own_rng(given, 4)
        sun_w = at_least_zero(self.solar_w, count, rng)
        sunny = replace(drawn.draws, sun_w=sun_w)
        return replace(drawn, draws=sunny)


def with_power(given: ReachInput, drawn: Sample, log_change: Floats) -> Sample:
    """Draws whose power at each speed has changed.

    At a held speed the present power changes with it; at a held throttle the power stays, and the
    speed is that of the changed curve.

    Args:
        log_change: ln of the new power over the old, on the curve's grid, (n, m).
    """
    draws = drawn.draws
    log_power = draws.log_power + log_change
    lines = np.maximum.accumulate(log_power, axis=1)
    now_w = draws.now_w
    if given.now is not None:
        east, north = draws.stream.now()
        along, across = along_across(east, north, given.now.course_deg)
        ahead_mps = given.now.speed_ground_mps - along
        water_mps = np.hypot(ahead_mps, across)
        log_now = given.curve.at_own(log_change, water_mps)
        now_w = now_w * np.exp(log_now)
    changed = replace(draws, log_power=lines, now_w=now_w)
    return replace(drawn, draws=changed)
