"""What the stream is found from: half-minute means of the moving boat."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.operating import (
    TURNING_RPS,
    drive_threshold_w,
    propulsion_power_w,
    shaft_rps,
    unaided,
)
from analyzer.series.series import Series
from analyzer.series.steps import whole_steps
from logger.boat import Boat

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Common practice, no source; the bin's length is assumed.
SHAFT_ALIKE = 0.05  # revolutions against those of the minute before: the boat has caught up
BIN_S = 30.0


@dataclass(frozen=True)
class Bins:
    """Half-minute means of the moving boat, each shape (n,) unless said."""

    t_s: Floats
    ground: Floats  # (n, 2) east, north
    heading_rad: Floats  # NaN without compass
    water: Floats  # the log's reading, NaN without
    shaft: Floats  # revolutions per second ahead, NaN without, and where others drive it too
    sailed: Bools  # sails drive it or help

    @property
    def has_compass(self) -> bool:
        """Whether there is a heading anywhere."""
        return bool(np.isfinite(self.heading_rad).any())

    @property
    def over_mps(self) -> Floats:
        """Speed over ground, shape (n,)."""
        return np.asarray(np.hypot(self.ground[:, 0], self.ground[:, 1]))


@dataclass(frozen=True)
class Sensed:
    """One instrument that tells the speed through water: the log (column 0) or the shaft (1).

    ok: Bins in which it counts. reading: what it says there and elsewhere. Shape (n,) each.
    """

    column: int
    ok: Bools
    reading: Floats


def mean_bins(values: Floats, size: int) -> Floats:
    """Means of whole bins of `size` samples, NaN where under half the bin is there."""
    table = whole_steps(values, size)
    count = np.isfinite(table).sum(axis=1)
    total = np.nansum(table, axis=1)
    return np.where(count * 2 >= size, total / np.maximum(count, 1), np.nan)


def heading_true(series: Series) -> Floats:
    """True heading, from the compass and the variation where only magnetic is there. [deg]"""
    true = series.get("heading_true_deg")
    magnetic = (series.get("heading_magnetic_deg") + series.get("variation_deg")) % 360.0
    return np.where(np.isfinite(true), true, magnetic)


def _driving(shaft: Floats, power: Floats) -> Floats:
    """Revolutions where they are settled and the propeller has its usual load, else NaN."""
    ok = shaft > TURNING_RPS
    for back in (1, 2):
        before = np.concatenate([shaft[:1].repeat(back), shaft])[: len(shaft)]
        with np.errstate(invalid="ignore"):
            ok &= ~(np.abs(shaft - before) > SHAFT_ALIKE * shaft)
    return np.where(unaided(power, shaft, ok), shaft, np.nan)


def bins_of(series: Series, boat: Boat | None) -> Bins:
    """The series as half-minute means; turning bins have no course or heading."""
    size = max(round(BIN_S / series.step_s), 1)
    turns = shaft = mean_bins(shaft_rps(series, boat), size)
    idle = np.zeros(len(shaft), dtype=bool)
    if boat is not None:
        power = mean_bins(propulsion_power_w(series, boat), size)
        shaft = _driving(turns, power)
        idle = power < drive_threshold_w(boat)
    course = np.radians(series.get("course_ground_deg"))
    speed = series.get("speed_ground_mps")
    heading = np.radians(heading_true(series))
    sin = mean_bins(np.sin(heading), size)
    cos = mean_bins(np.cos(heading), size)
    on_heading = np.hypot(sin, cos) > 0.95
    toward_east = mean_bins(np.sin(course), size)
    toward_north = mean_bins(np.cos(course), size)
    straight = toward_east**2 + toward_north**2 > 0.9
    east = mean_bins(speed * np.sin(course), size)
    north = mean_bins(speed * np.cos(course), size)
    ground = np.stack([east, north], axis=1)
    return Bins(
        t_s=mean_bins(series.t0_us / 1e6 + series.t_s, size),
        ground=np.where(straight[:, None], ground, np.nan),
        heading_rad=np.where(on_heading, np.arctan2(sin, cos), np.nan),
        water=mean_bins(series.get("speed_water_mps"), size),
        shaft=shaft,
        sailed=np.where(np.isfinite(turns), ~(shaft > TURNING_RPS), idle),
    )
