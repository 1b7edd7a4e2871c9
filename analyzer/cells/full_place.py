"""Where the pack is full on the axis of charge moved, as far as a stretch of log tells."""

import numpy as np
import numpy.typing as npt

from analyzer.cells.levels import Table
from analyzer.cells.median_curve import polarised
from analyzer.cells.published_curve import PublishedCurve
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

PLACES = 5  # equally likely places of full that are tried where none was seen; assumed
UNSEEN_STEP = 0.02  # of the places of full looked at first; assumed
MOST_CHARGE = 1.02  # of a pack at the fullest level; assumed
LEAST_SPAN = 0.8  # of what was counted out was there at least; assumed


def charges_at_zero(table: Table, kind: Chemistry, r_ohm: float) -> Floats:
    """Charge of the median cell where `place` is 0: known from a full charge, else by its curve.

    Args:
        r_ohm: Resistance of the median cell.
    Returns:
        Equally likely ones, (k,). [frac]
    """
    if table.full_place is not None:
        return np.array([1.0 + table.full_place])
    least = min(np.ptp(table.place) * LEAST_SPAN, 1.0)
    at_first = np.arange(MOST_CHARGE, least, -UNSEEN_STEP)
    trial = at_first + table.place.min()
    weight = _weights(table, kind, r_ohm, trial)
    below = np.cumsum(weight) / weight.sum()
    wanted = (np.arange(PLACES) + 0.5) / PLACES
    likely = np.interp(wanted, below, trial)
    return np.unique(likely.round(3))


def _weights(table: Table, kind: Chemistry, r_ohm: float, trial: Floats) -> Floats:
    """How likely each place of full is, (t,).

    The chemistry's curve is held against the median cell's own. Its errors are alike over
    `shape_soc`, so that a span counts as so many independent readings.
    """
    _, slow = polarised(kind)
    drop_v = (1.0 + slow) * r_ohm * table.amps[:, 0]
    rest_v = table.volts + drop_v
    charge = trial[:, None] - table.place
    residual_v = np.zeros_like(charge)
    steep = np.zeros_like(charge)
    for way in (-1, 0, 1):
        at = np.flatnonzero(table.way == way)
        points = PublishedCurve(kind, way).at(charge[:, at])
        residual_v[:, at] = rest_v[at] - points.volts
        steep[:, at] = points.steep
    step_v = steep.mean(axis=1) * UNSEEN_STEP / 2
    level_v2 = kind.curve_sd_v**2 + step_v**2
    shape_v2 = kind.shape_sd_v**2 + step_v**2
    level = residual_v.mean(axis=1) ** 2 / level_v2
    shape = residual_v.var(axis=1) / shape_v2
    readings = np.ptp(table.place) / kind.shape_soc + 1.0
    miss = level + readings * shape
    miss -= miss.min()
    return np.asarray(np.exp(-0.5 * miss))
