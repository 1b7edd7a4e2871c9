"""What cells' voltages say of their charge and capacity, level by level of charge moved.

Where the open-circuit curve bends, a cell with less charge shows a lower voltage: distance =
-slope x charge missing. Missing at every level alike, it is a difference in charge; growing
with the depth of discharge, it is a smaller capacity. On the flat part the slope is next to
nothing and so is what can be said.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.deficit_fit import (
    ALIKE,
    LEVEL_C,
    Curve,
    Floats,
    Table,
    cell_fit,
)
from analyzer.pack.cell_model import Chemistry, chemistry
from logger.boat import Pack
from logger.units import HOUR_S

FORGET_S = 20 * HOUR_S  # a level visited again after this starts afresh
LEVEL_SD_V = 0.001  # of a level's mean distance: resolution, filter, circuit
SLOPE_SHARE = 0.006  # error of the slope's place, in charge
USUAL_SHIFT = 0.03  # charge missing for which a doubtful slope counts
ASK_S = 300.0
OFFSET_SD_V = 0.0015  # of a cell's voltage input
SHARE_SD, CAPACITY_SD = 0.15, 0.2  # before anything is known, as shares of capacity
BALANCED_SD = 0.03  # by how much a charge to full may level cells; common practice, no source
HEALTHY_SHARE, HEALTHY_CAPACITY = 0.003, 0.004  # of the other cause: one cause dominates
SURE_GAIN = 1.5  # of one cause over the other: odds of four to one
LEAST_S = 30.0  # a level under load seen for less is left out
MODERATE_C = 0.02  # current above which the pack counts as giving or taking
FULL_HELD_S = 60.0
FILLED, USED = 0.02, 0.01  # charge put in to the top, and given since, as shares of Ah
LOSSY = 0.95  # below this efficiency what is put in is no measure of what the cells hold


@dataclass
class _Level:
    """Sums over the readings at one level of charge moved."""

    seconds: float
    volts: float
    amps: float
    distance_v: Floats
    last_s: float
    fulls: int  # full charges before it that were used again
    since_turn: float  # charge moved since the current last turned round, least, as a share


@dataclass(frozen=True)
class Missing:
    """Per cell, against the median cell; all arrays (cells,).

    Args:
        share, share_sd: Charge missing at the fullest level seen, as a share of capacity.
        capacity, capacity_sd: Capacity missing, as a share.
        both: Correlation of the two errors.
        earlier, earlier_sd: Charge missing at the greatest depth as it was before the last full
            charge; where there was none since, as it is.
        seen: Highest slope of the curve that was seen. [V per unit of charge]
        depth: How far apart the levels seen lie, as a share of capacity.
    """

    share: Floats
    share_sd: Floats
    capacity: Floats
    capacity_sd: Floats
    both: Floats
    earlier: Floats
    earlier_sd: Floats
    seen: float
    depth: float

    def where_best_seen(self) -> tuple[Floats, Floats]:
        """Charge missing, and its sd, at the depth where it is known best, (cells,) each."""
        depth = float(np.median(-self.both * self.share_sd / self.capacity_sd))
        return self.at(min(max(depth, 0.0), self.depth))

    def at(self, depth: float) -> tuple[Floats, Floats]:
        """Charge missing, and its sd, with this much charge given from the top, (cells,) each."""
        total = self.share + depth * self.capacity
        cross = 2 * self.both * self.share_sd * self.capacity_sd * depth
        var = self.share_sd**2 + (depth * self.capacity_sd) ** 2 + cross
        return total, np.sqrt(np.maximum(var, 1e-12))


def _seen_slope(place: Floats, rest_v: Floats) -> tuple[Floats, Floats]:
    """Slope of the median cell's own curve around each level, and its sd; infinite if unknown."""
    order = np.argsort(place)
    x, y = place[order], rest_v[order]
    slope, sd = np.zeros(len(x)), np.full(len(x), np.inf)
    low = np.searchsorted(x, x - 4.5 * LEVEL_C)
    high = np.searchsorted(x, x + 4.5 * LEVEL_C)
    for k in np.flatnonzero(high - low >= 6).tolist():
        dx, dy = x[low[k] : high[k]], y[low[k] : high[k]]
        dx, dy = dx - dx.mean(), dy - dy.mean()
        power = float(dx @ dx)
        slope[k] = -float(dx @ dy) / power
        left = dy + slope[k] * dx
        sd[k] = math.sqrt(float(left @ left) / (len(dx) - 2) / power)
    out, out_sd = np.empty(len(x)), np.empty(len(x))
    out[order], out_sd[order] = np.maximum(slope, 0.0), sd
    return out, out_sd


def _curve(place: Floats, rest_v: Floats) -> Curve:
    order = np.argsort(place)
    x, y = place[order], rest_v[order]
    if len(x) >= 5:  # levels lie a little off their line
        y = np.convolve(np.pad(y, 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
    return x, y


@dataclass(frozen=True)
class Cause:
    """Why a cell is behind: "cell_charge", "cell_capacity", or "cell_low" where that does not
    show yet; and by how much, as a share of capacity."""

    kind: str
    size: float
    sd: float


class Levels:
    """Gathers distances from the median cell by level of charge moved."""

    def __init__(self, pack: Pack, cells: int) -> None:
        self.kind: Chemistry = chemistry(pack.chemistry)
        self.ah, self.cells = pack.rated_capacity_ah, cells
        self._levels: dict[tuple[int, int], _Level] = {}
        self._moved_ah = 0.0
        self._full_ah: float | None = None  # charge moved when the pack was first seen full
        self._full_s = 0.0
        self._lowest_ah = 0.0
        self._filled = False  # to the top, and not used since
        self._fulls = 0
        self._time_s = 0.0
        self._one_way = 0.0
        self._answer: tuple[int, Missing | None] | None = None

    def step(self, median_v: float, distance_v: Floats, current_a: float, dt_s: float) -> None:
        """Takes in one step. median_v: of one cell. distance_v: shape (cells,)."""
        self._time_s += dt_s
        self._moved_ah += current_a * dt_s / HOUR_S
        self._keep_place(median_v, current_a, dt_s)
        if current_a < 0 and self.kind.charge_efficiency < LOSSY:
            return
        way = 0 if abs(current_a) < MODERATE_C * self.ah else (1 if current_a > 0 else -1)
        moved = current_a * dt_s / (HOUR_S * self.ah)
        self._one_way = self._one_way + moved if self._one_way * moved > 0 else moved
        key = (way, round(self._moved_ah / (LEVEL_C * self.ah)))
        level = self._levels.get(key)
        old = level is not None and self._time_s - level.last_s > FORGET_S
        if level is None or old or level.fulls < self._fulls:
            none = np.zeros(self.cells)
            level = self._levels[key] = _Level(0.0, 0.0, 0.0, none, 0.0, self._fulls, 1.0)
        level.seconds += dt_s
        level.volts += median_v * dt_s
        level.amps += current_a * dt_s
        level.distance_v = np.asarray(level.distance_v + distance_v * dt_s)
        level.last_s = self._time_s
        level.since_turn = min(level.since_turn, abs(self._one_way))

    def _keep_place(self, median_v: float, current_a: float, dt_s: float) -> None:
        """Each full charge ends at the place of the first, whatever the counting has lost.

        Once the pack is used again what cells lack in charge may be less: they are levelled at the
        top.
        """
        tail_a = self.kind.full_tail_c * self.ah
        at_top = median_v >= self.kind.top_v and -tail_a < current_a <= 0
        self._lowest_ah = max(self._lowest_ah, self._moved_ah)
        self._full_s = self._full_s + dt_s if at_top else 0.0
        if self._full_s >= FULL_HELD_S:
            self._filled |= self._lowest_ah - self._moved_ah > FILLED * self.ah
            self._full_ah = self._moved_ah if self._full_ah is None else self._full_ah
            self._moved_ah = self._lowest_ah = self._full_ah
        elif self._filled and self._moved_ah - (self._full_ah or 0.0) > USED * self.ah:
            self._fulls += 1
            self._filled = False

    def missing(self, r_ohm: float, excess_ohm: Floats) -> Missing | None:
        """The fit over all levels; asked again within five minutes of data, the same answer.

        Args:
            r_ohm: Resistance of the median cell, for its voltage at rest.
            excess_ohm: Of each cell above it, as far as known, shape (cells,).
        Returns:
            None while there is nothing.
        """
        stamp = int(self._time_s // ASK_S)
        if self._answer is None or self._answer[0] != stamp:
            self._answer = (stamp, self._fit(r_ohm, excess_ohm))
        return self._answer[1]

    def _fit(self, r_ohm: float, excess_ohm: Floats) -> Missing | None:
        table = self._table(r_ohm)
        if table is None:
            return None
        rest = table.distance + excess_ohm * table.amps[:, None]
        common = [OFFSET_SD_V, max(0.4 * r_ohm, 1e-6)]
        prior = np.array([*common, SHARE_SD, CAPACITY_SD, BALANCED_SD])
        fits = [cell_fit(table, rest[:, i], prior) for i in range(self.cells)]
        depth = float(table.depth.max())
        (share, share_sd), (capacity, capacity_sd), (earlier, earlier_sd) = (
            np.array([f.total(*w) for f in fits]).T
            for w in ((0, 0, 1, 0, 0), (0, 0, 0, 1, 0), (0, 0, 1, depth, 1))
        )
        return Missing(
            share=share,
            share_sd=share_sd,
            capacity=capacity,
            capacity_sd=capacity_sd,
            both=np.array([f.cov[2, 3] for f in fits]) / (share_sd * capacity_sd),
            earlier=earlier,
            earlier_sd=earlier_sd,
            seen=float(np.max(table.slope)),
            depth=depth,
        )

    def cause(self, r_ohm: float, excess_ohm: Floats, cell: int) -> Cause | None:
        """Of one cell that is behind: less charge, or less capacity? None while unseen."""
        table = self._table(r_ohm)
        if table is None:
            return None
        rest = (table.distance + excess_ohm * table.amps[:, None])[:, cell]
        common = [OFFSET_SD_V, max(0.4 * r_ohm, 1e-6)]
        by_charge = cell_fit(
            table, rest, np.array([*common, SHARE_SD, HEALTHY_CAPACITY, BALANCED_SD])
        )
        by_capacity = cell_fit(
            table, rest, np.array([*common, HEALTHY_SHARE, CAPACITY_SD, HEALTHY_SHARE])
        )
        wide = min(by_charge.wide, by_capacity.wide)
        gain = (by_capacity.miss - by_charge.miss) / wide**2 + by_capacity.prior - by_charge.prior
        fit, at = (by_charge, 2) if gain > 0 else (by_capacity, 3)
        kind = "cell_low" if abs(gain) < SURE_GAIN else ("cell_charge", "cell_capacity")[at - 2]
        return Cause(kind, *fit.total(*np.eye(5)[at]))

    def _table(self, r_ohm: float) -> Table | None:
        keys = [k for k, v in self._levels.items() if v.seconds >= (LEAST_S if k[0] else 1.0)]
        if not keys:
            return None
        levels = [self._levels[k] for k in keys]
        seconds = np.array([v.seconds for v in levels])
        amps = np.array([v.amps for v in levels]) / seconds
        rest_v = np.array([v.volts for v in levels]) / seconds + r_ohm * amps
        distance = np.array([v.distance_v for v in levels]) / seconds[:, None]
        place = np.array([k[1] for k in keys]) * LEVEL_C
        way = np.array([k[0] for k in keys])
        slope = self._known_slope(rest_v, way)
        doubt = np.hypot(self.kind.shape_sd_v / self.kind.shape_soc, 0.5 * slope)
        shown = False
        for one in (-1, 1):
            at = np.flatnonzero(way == one)
            seen, seen_sd = _seen_slope(place[at], rest_v[at])
            better = seen_sd < doubt[at]
            slope[at] = np.where(better, seen, slope[at])
            doubt[at] = np.where(better, seen_sd, doubt[at])
            shown = shown or bool(better.any())
        # While hysteresis and polarisation turn round, the median's curve is not the cells' slope.
        turned = np.array([v.since_turn for v in levels]) < 2.5 * self.kind.gap_soc_frac
        swing_v = self.kind.half_gap_v.mean() + r_ohm * np.abs(amps)
        turning = 2 * swing_v / self.kind.gap_soc_frac * turned * (way != 0)
        # A doubtful slope counts for little beside better ones; alone, it only sets the scale.
        doubt = np.hypot(doubt if shown else 0 * doubt, turning)
        place_sd = SLOPE_SHARE if shown else 0.0
        error = LEVEL_SD_V**2 + (place_sd * slope) ** 2 + (USUAL_SHIFT * doubt) ** 2
        few = np.minimum(seconds / 30.0, 1.0)
        curves = tuple(_curve(place[way == one], rest_v[way == one]) for one in (-1, 1))
        depth = place - place.min()
        before = np.array([float(v.fulls < self._fulls) for v in levels])
        weight = few / (error * ALIKE)
        return Table(place, depth, way, slope, amps, distance, weight, before, curves)

    def _known_slope(self, rest_v: Floats, way: Floats | npt.NDArray[np.int64]) -> Floats:
        """From the chemistry, where the cells themselves have not shown it."""
        slopes = self.kind.docv_dsoc(self.kind.soc_at(rest_v, 25.0, -way.astype(float)))
        return np.minimum(slopes, 5.0)

    def least_visible(self, r_ohm: float) -> float:
        """Smallest difference in charge that would show at the levels seen, as a share.

        Infinite on a stretch so flat that its slope is not known to be above nothing.
        """
        table = self._table(r_ohm)
        if table is None:
            return math.inf
        doubt = math.sqrt(2) * self.kind.shape_sd_v / self.kind.shape_soc
        surely = float(np.max(table.slope)) - doubt
        return SURE * math.hypot(LEVEL_SD_V, OFFSET_SD_V) / surely if surely > 0 else math.inf


SURE = 4.0
