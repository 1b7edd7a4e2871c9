"""Readings of a cell's voltage that no cell can give: a sense lead that comes loose and back.

A cell's charge moves its voltage by some hundredths of a volt a second at the very worst (near
empty, at a load of its capacity in an hour), and a bad link moves it only as the current moves.
What jumps further, without that, says nothing of the cell.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Against the median cell, from one reading to the next a second later: a cell that empties at its
# capacity in an hour falls by some hundredths of a volt a second; ten times that is assumed.
JUMP_V = 0.25
BACK_V = 0.1  # so near where it was, a reading is believed again; assumed
LINK_SHARE = 20.0  # a bad link may have this many times a cell's resistance; assumed
DOUBTED_S = 900.0  # what stays away for longer is believed; assumed


class SenseLeads:
    """Follows the cells' distances from their median, reading by reading.

    Args:
        r0_ohm: Resistance of one cell or block.
    """

    def __init__(self, r0_ohm: float) -> None:
        self.link_ohm = LINK_SHARE * r0_ohm
        self._last: Floats | None = None  # current, then cells
        self._good_v = np.zeros(0)  # distance last believed
        self._away_s = np.zeros(0)

    def forget(self) -> None:
        """A gap in the log: the next reading is compared with nothing."""
        self._last = None

    def believed(self, table: Floats, step_s: float) -> Floats:
        """The readings without those that no cell can give.

        Args:
            table: Current and cells' voltages, in time order, shape (n, 1 + cells).
        Returns:
            The same, or a copy with NaN in their places.
        """
        if self._calm(table, step_s):
            self._last = table[-1].copy()
            return table
        table = table.copy()
        for row in table:
            self._one(row, step_s)
        return table

    def _calm(self, table: Floats, step_s: float) -> bool:
        """Whether nothing jumps and nothing is away."""
        if self._away_s.any() or not len(table):
            return not len(table)
        before = table[:1] if self._last is None else self._last[None]
        volts = np.vstack([before, table])[:, 1:]
        moves_v = np.abs(np.diff(volts, axis=0))
        most_v = np.fmax.reduce(moves_v, axis=None, initial=0.0)
        return bool(most_v < 0.5 * JUMP_V * max(step_s, 1.0))

    def _one(self, row: Floats, step_s: float) -> None:
        """Takes one reading; puts NaN where it is not believed."""
        as_read = row.copy()
        distance_v = row[1:].copy()
        if np.isfinite(distance_v).any():
            distance_v -= np.nanmedian(distance_v)
        if self._last is None or not np.isfinite(self._last).all():
            self._good_v = distance_v
            self._away_s = np.zeros(len(distance_v))
            self._last = as_read
            return
        if not self._away_s.any():
            self._good_v = self._last[1:] - np.median(self._last[1:])
            self._away_s = np.zeros(len(distance_v))
        away = self._is_away(distance_v, row[0], step_s)
        self._away_s = np.where(away, self._away_s + step_s, 0.0)
        keep = away | ~np.isfinite(distance_v)
        self._good_v = np.where(keep, self._good_v, distance_v)
        row[1:][away] = np.nan
        self._last = as_read

    def _is_away(
        self, distance_v: Floats, current_a: float, step_s: float
    ) -> npt.NDArray[np.bool_]:
        """Which cells stand where no cell can be after what was last believed, (cells,)."""
        assert self._last is not None
        step_a = abs(current_a - self._last[0]) if np.isfinite(current_a) else 0.0
        may_v = JUMP_V * max(step_s, 1.0) + self.link_ohm * step_a
        bound_v = np.where(self._away_s > 0, BACK_V, may_v)
        away = np.abs(distance_v - self._good_v) > bound_v
        return np.asarray(away & (self._away_s < DOUBTED_S))
