"""Cells' distances from the median cell, gathered by level of charge moved.

The axis is the charge moved as a share of the rated Ah. Each full charge ends at the place of the
first, so that neither the shunt's offset nor the losses of charging shift it.
"""

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Chemistry, chemistry
from logger.boat import Pack
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]
Ways = npt.NDArray[np.int64]

LEVEL_C = 0.004  # width of a level, as a share of Ah; assumed
LEAST_S = 30.0  # a level under load seen for less is left out; assumed
MODERATE_C = 0.02  # current above which the pack counts as giving or taking; assumed
FULL_HELD_S = 60.0  # at the top, with a current that tails off, before it is full; assumed
# Charge put in to the top, and given since, before cells may have been levelled; assumed.
FILLED, USED = 0.02, 0.01
LOSSY = 0.95  # below this efficiency what is put in is no measure of what cells hold; assumed


@dataclass
class _Level:
    """Sums over the seconds at one level of charge moved."""

    distance_v: Floats
    seconds: float = 0.0
    volts: float = 0.0
    time_s: float = 0.0
    amps: Floats = field(default_factory=lambda: np.zeros(3))
    hysteresis: float = 0.0


@dataclass(frozen=True)
class Table:
    """What was seen, level by level; arrays (m,) unless said otherwise.

    Args:
        place: Charge moved, as a share of Ah; grows as the pack gives.
        way: 1 giving, -1 taking, 0 neither.
        amps: Mean current, and the same lagged as the cell's two polarisations are, (m, 3). [A]
        volts: Of the median cell. [V]
        time_s: When it was seen, in the mean, by readings taken in. [s]
        hysteresis: Its state, -1 after a long discharge to 1 after a long charge.
        distance_v: Of each cell from the median cell, (m, cells). [V]
        seconds: How long it was seen. [s]
        full_place: Where the pack is full; None while it has not been seen full.
    """

    place: Floats
    way: Ways
    amps: Floats
    volts: Floats
    time_s: Floats
    hysteresis: Floats
    distance_v: Floats
    seconds: Floats
    full_place: float | None


class Levels:
    """Gathers one stretch of log, in which no charge was moved unseen."""

    def __init__(self, pack: Pack, cells: int) -> None:
        self.kind: Chemistry = chemistry(pack.chemistry)
        self.ah, self.cells = pack.rated_capacity_ah, cells
        self._levels: dict[tuple[int, int], _Level] = {}
        self._moved_ah = 0.0
        self._full_ah: float | None = None  # charge moved when the pack was first seen full
        self._full_s = 0.0
        self._lowest_ah = 0.0
        self._filled = False  # to the top, and not used since
        self._time_s = 0.0
        self._lagged_a = np.zeros(2)
        self._hysteresis = 0.0

    def clear(self) -> None:
        """Begins anew; the place on the axis stays known."""
        self._levels = {}

    def lose_place(self) -> None:
        """Charge may have moved unseen."""
        self._full_ah = None
        self._full_s, self._filled = 0.0, False
        self._lowest_ah = self._moved_ah

    def move(self, median_v: float, current_a: float, dt_s: float) -> bool:
        """Counts the charge of a step. -> Whether the pack is used again after a full charge.

        Args:
            median_v: Of one cell. [V]
        """
        self._moved_ah += current_a * dt_s / HOUR_S
        tail_a = self.kind.full_tail_c * self.ah
        at_top = median_v >= self.kind.top_v and -tail_a < current_a <= 0
        self._lowest_ah = max(self._lowest_ah, self._moved_ah)
        self._full_s = self._full_s + dt_s if at_top else 0.0
        if self._full_s >= FULL_HELD_S:
            self._filled |= self._lowest_ah - self._moved_ah > FILLED * self.ah
            self._full_ah = self._moved_ah if self._full_ah is None else self._full_ah
            self._moved_ah = self._lowest_ah = self._full_ah
            return False
        used_ah = self._moved_ah - (self._full_ah or 0.0)
        again = self._filled and used_ah > USED * self.ah
        self._filled = self._filled and not again
        return again

    def _lag(self, current_a: float, dt_s: float) -> None:
        """Polarisation follows the current, hysteresis the charge moved; first order both."""
        keep = np.exp(-dt_s / np.array([self.kind.tau1_s, self.kind.tau2_s]))
        self._lagged_a = current_a + (self._lagged_a - current_a) * keep
        moved = current_a * dt_s / (HOUR_S * self.ah)
        toward = -math.copysign(1.0, current_a)
        stay = math.exp(-abs(moved) / self.kind.gap_soc_frac)
        self._hysteresis = toward + (self._hysteresis - toward) * stay

    def add(self, median_v: float, distance_v: Floats, current_a: float, dt_s: float) -> None:
        """Takes in a step. median_v: of one cell. distance_v: shape (cells,). [V]"""
        self._lag(current_a, dt_s)
        self._time_s += dt_s
        if current_a < 0 and self.kind.charge_efficiency < LOSSY:
            return
        at_rest = abs(current_a) < MODERATE_C * self.ah
        way = 0 if at_rest else (1 if current_a > 0 else -1)
        key = (way, round(self._moved_ah / (LEVEL_C * self.ah)))
        level = self._levels.get(key)
        if level is None:
            level = self._levels[key] = _Level(np.zeros(self.cells))
        level.seconds += dt_s
        level.volts += median_v * dt_s
        level.time_s += self._time_s * dt_s
        level.amps += np.append(current_a, self._lagged_a) * dt_s
        level.hysteresis += self._hysteresis * dt_s
        level.distance_v += distance_v * dt_s

    def table(self) -> Table | None:
        """All levels seen for long enough; None while there is none."""
        found = self._levels.items()
        kept = [(k, v) for k, v in found if v.seconds >= (LEAST_S if k[0] else 1.0)]
        if not kept:
            return None
        levels = [level for _, level in kept]
        seconds = np.array([v.seconds for v in levels])
        amps = np.array([v.amps for v in levels])
        distance_v = np.array([v.distance_v for v in levels])
        full = self._full_ah
        return Table(
            place=np.array([key[1] for key, _ in kept]) * LEVEL_C,
            way=np.array([key[0] for key, _ in kept]),
            amps=amps / seconds[:, None],
            volts=np.array([v.volts for v in levels]) / seconds,
            time_s=np.array([v.time_s for v in levels]) / seconds,
            hysteresis=np.array([v.hysteresis for v in levels]) / seconds,
            distance_v=distance_v / seconds[:, None],
            seconds=seconds,
            full_place=None if full is None else full / self.ah,
        )
