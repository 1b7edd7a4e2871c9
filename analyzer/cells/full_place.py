"""Where the pack is full on the axis of charge moved, and what it holds, as far as a log tells.

The axis is counted in shares of the label's capacity; what the pack holds is another number, and
where it was full may not have been seen. Both move the bends of the curve along the axis, so both
are drawn: what a cell lacks must not be told from bends that are taken to lie elsewhere.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.levels import Table
from analyzer.cells.median_curve import Axis, polarised
from analyzer.cells.published_curve import PublishedCurve
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

PLACES = 3  # equally likely places of full that are tried for each capacity; assumed
CAPACITIES = 4  # equally likely capacities that are tried; assumed
UNSEEN_STEP = 0.02  # of the places of full looked at first; assumed
MOST_CHARGE = 1.02  # of a pack at the fullest level; assumed
MOST_CHI = 1400.0  # by definition of a double: exp(-700) is nearly the least that is not 0
LEAST_SPAN = 0.8  # of what was counted out was there at least; assumed
# Capacities over the label that are looked at first: what wrong labels and age leave; assumed.
HELD = np.exp(np.linspace(math.log(0.6), math.log(1.15), 14))


@dataclass(frozen=True)
class _Trial:
    """Places of full that may be at one capacity: charge at zero and its weight, (t,)."""

    held: float
    charge: Floats
    weight: Floats


def axes(table: Table, kind: Chemistry, r_ohm: float) -> tuple[Axis, ...]:
    """Equally likely ones, by the median cell's curve and by what packs in service hold.

    Args:
        r_ohm: Resistance of the median cell.
    """
    seen = _Seen.of(table, kind, r_ohm)
    trials = _trials(seen, HELD)
    likelihood = np.array([trial.weight.sum() for trial in trials])
    posterior = likelihood * _prior(kind)
    held = _quantiles(HELD, posterior, CAPACITIES)
    found = []
    for trial in _trials(seen, held):
        places = 1 if len(trial.charge) == 1 else PLACES
        charges = _quantiles(trial.charge, trial.weight, places)
        found += [Axis(float(charge), trial.held) for charge in charges]
    return tuple(found)


def _prior(kind: Chemistry) -> Floats:
    """Of what packs in service hold, at `HELD`, up to a constant."""
    parts = np.array(kind.capacity).T
    weight, mean, sd = parts[:, :, None]
    apart = (np.log(HELD) - mean) / sd
    density = np.exp(-0.5 * apart**2) / sd
    return np.asarray((weight * density).sum(axis=0))


def _quantiles(values: Floats, weight: Floats, count: int) -> Floats:
    """Middles of so many equally likely parts of a distribution given by points."""
    below = (np.cumsum(weight) - 0.5 * weight) / weight.sum()
    wanted = (np.arange(count) + 0.5) / count
    return np.asarray(np.interp(wanted, below, values))


@dataclass(frozen=True)
class _Seen:
    """What the median cell showed: rest voltage at each level, (m,)."""

    table: Table
    kind: Chemistry
    rest_v: Floats

    @classmethod
    def of(cls, table: Table, kind: Chemistry, r_ohm: float) -> "_Seen":
        """Without what a usual circuit drops."""
        _, slow = polarised(kind)
        drop_v = (1.0 + slow) * r_ohm * table.amps[:, 0]
        return cls(table, kind, table.volts + drop_v)


def _trials(seen: _Seen, held: Floats) -> list[_Trial]:
    """One for each capacity, (k,)."""
    charges = [_places(seen.table, each) for each in held.tolist()]
    counts = [len(charge) for charge in charges]
    every = np.concatenate(charges)
    held_of = np.repeat(held, counts)
    weights = _weights(seen, every, held_of)
    ends = np.cumsum(counts)
    parts = np.split(weights, ends[:-1])
    rows = zip(held.tolist(), charges, parts, strict=True)
    return [_Trial(*row) for row in rows]


def _places(table: Table, held: float) -> Floats:
    """Charges at zero that may be at a capacity, (t,)."""
    if table.full_place is not None:
        charge = 1.0 + table.full_place / held
        return np.array([charge])
    first = table.place.min() / held
    counted = np.ptp(table.place) / held
    least = min(counted * LEAST_SPAN, 1.0)
    fullest = np.arange(MOST_CHARGE, least, -UNSEEN_STEP)
    return np.asarray(fullest + first)


def _weights(seen: _Seen, trial: Floats, held: Floats) -> Floats:
    """How likely each charge at zero and its capacity are, (t,).

    The chemistry's curve is held against the median cell's own. Its errors are alike over
    `shape_soc`, so that a span counts as so many independent readings.
    """
    table = seen.table
    kind = seen.kind
    charge = trial[:, None] - table.place / held[:, None]
    residual_v = np.zeros_like(charge)
    steep = np.zeros_like(charge)
    for way in np.unique(table.way).tolist():
        at = np.flatnonzero(table.way == way)
        points = PublishedCurve(kind, way).at(charge[:, at])
        residual_v[:, at] = seen.rest_v[at] - points.volts
        steep[:, at] = points.steep
    step_v = steep.mean(axis=1) * UNSEEN_STEP / 2
    level_v2 = kind.curve_sd_v**2 + step_v**2
    shape_v2 = kind.shape_sd_v**2 + step_v**2
    level = residual_v.mean(axis=1) ** 2 / level_v2
    shape = residual_v.var(axis=1) / shape_v2
    span = np.ptp(table.place) / held
    readings = span / kind.shape_soc + 1.0
    chi = level + readings * shape
    # Over the likeliest, and never nothing: a current of the wrong unit makes each impossible.
    return np.asarray(np.exp(-0.5 * np.minimum(chi - chi.min(), MOST_CHI)))
