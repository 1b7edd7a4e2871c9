"""Open-circuit curves that cells of a chemistry may have, jointly with what they hold of the label.

A hierarchy: electrodes of a further make are drawn about the published ones, then how much of each
electrode a cell has, then what ageing took. Lithium that is lost fills the graphite less at full
and the positive electrode less at empty (degradation modes: M. Dubarry, C. Truchot, B. Liaw, J.
Power Sources 219 (2012) 204), so that the bends of an aged cell's curve lie at other charges. A
bend's place thus tells of the capacity, and that is what the joint moments hold: the curve's error
is beta · (ln C/label - mean) + the rest.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves import oxides
from analyzer.pack.curves.half_cells import (
    graphite_2020_v,
    graphite_fast_v,
    graphite_silicon_v,
    graphite_v,
    lfp_electrode_2017_v,
    lfp_electrode_v,
    nmc532_electrode_v,
    nmc_electrode_v,
)
from analyzer.pack.curves.service_prior import LITHIUM, Part, parts_of

Floats = npt.NDArray[np.float64]
Curve = Callable[[Floats], Floats]
Range = tuple[float, float]

CELLS = 400  # drawn; moments are then good to some per cent; assumed
# Losses of active material, as shares of the lithium lost: lithium's own loss leads in both
# chemistries (Dubarry 2012 and others); the spread is assumed. One make of retired iron phosphate
# cells lies at its lower end: 10 to 30 % of the label above empty, rest voltages of
# cells at 74 to 96 % health agree as at a share of 0.0 +- 0.1 (PulseBat, S. Tao et al. 2024).
GRAPHITE_LOSS, POSITIVE_LOSS = 0.5, 0.3
# How far beyond a new cell's windows its curve is looked at, and in which steps; assumed.
REACH, STEP = 0.06, 0.004
# An electrode's charge in units of the new cell's capacity, as far as ageing may shift it; assumed.
CHARGE = np.linspace(-0.2, 1.4, 641)
# Fillings between which the fits are asked: beyond, they are poles and powers without a meaning.
# Assumed.
LEAST, MOST_X, MOST_Y = 1e-3, 0.95, 0.995
BEYOND_V = 100.0  # per unit of filling there: 1 V over a hundredth; assumed


class HalfCell(NamedTuple):
    """An electrode of one make.

    Args:
        curve: Against lithium, by filling. [V]
        low, high: Between which fillings a new cell uses it, low and high of each end.
        most: Filling up to which it is asked.
    """

    curve: Curve
    low: Range
    high: Range
    most: float


class Electrode(NamedTuple):
    """An electrode in a new cell of capacity 1.

    Args:
        volts: At `CHARGE`, counted up with filling from its end of the cell's window. [V]
        left: What it holds at that end.
        most: What it holds when it can take no more.
    """

    volts: Floats
    left: float
    most: float


class Family(NamedTuple):
    """Makes of both electrodes, and the rest voltages at 0 and 100 %. [V]"""

    positives: tuple[HalfCell, ...]
    negatives: tuple[HalfCell, ...]
    ends_v: Range


# Windows of new cells: graphite 0.0085 to 0.78 and iron phosphate 0.95 to 0.03 (Safari and
# Delacourt 2011), graphite up to 0.81 (Prada 2012); how far makes differ from them is assumed.
_GRAPHITES = (
    HalfCell(graphite_v, (0.005, 0.015), (0.72, 0.84), MOST_X),
    HalfCell(graphite_2020_v, (0.001, 0.006), (0.72, 0.84), MOST_X),
    HalfCell(graphite_fast_v, (0.005, 0.015), (0.72, 0.84), MOST_X),
)
_LFP = Family(
    tuple(
        HalfCell(curve, (0.02, 0.035), (0.93, 0.97), MOST_Y)
        for curve in (lfp_electrode_v, lfp_electrode_2017_v)
    ),
    _GRAPHITES,
    (2.5, 3.5),
)
# Fillings at which the oxides meet 4.2 V against graphite (0.08 V), and 2.5 to 3.0 V; how far makes
# differ from them is assumed. A discharge ends at 3.0 V (makers' data sheets).
_NMC = Family(
    (
        HalfCell(nmc_electrode_v, (0.2638, 0.2638), (0.84, 0.87), MOST_Y),
        HalfCell(nmc532_electrode_v, (0.0335, 0.0335), (0.87, 0.91), MOST_Y),
        HalfCell(oxides.nmc532_2020_v, (0.342, 0.342), (0.88, 0.93), MOST_Y),
        HalfCell(oxides.nca_v, (0.323, 0.323), (0.88, 0.93), MOST_Y),
    ),
    (*_GRAPHITES, HalfCell(graphite_silicon_v, (0.02, 0.032), (0.87, 0.93), MOST_X)),
    (3.0, 4.2),
)
FAMILIES = {"lfp": _LFP, "nmc": _NMC}
WIDE = np.linspace(-REACH, 1 + REACH, round((1 + 2 * REACH) / STEP) + 1)


@dataclass(frozen=True)
class CurvePrior:
    """Joint moments of ln(C/label) and of the curve.

    Args:
        parts: Of ln(C/label).
        mean_v: On the grid, (n,).
        beta_v: Regression of the curve on ln(C/label), (n,).
        rest_v: What is left, one row a drawn cell over root CELLS, so that rest_v.T @ rest_v is
            its covariance, (cells, n).
    """

    parts: tuple[Part, ...]
    mean_v: Floats
    beta_v: Floats
    rest_v: Floats


class Drawn(NamedTuple):
    """Capacities over the label, (cells,); curves at `WIDE` places stretched to 0 to 1, and those
    of the same cells when new, (cells, n). [V]"""

    capacity: Floats
    curves_v: Floats
    new_v: Floats


@lru_cache(maxsize=4)
def _drawn(name: str) -> Drawn:
    """Cells in service."""
    rng = np.random.default_rng(2)
    new, lost = LITHIUM.draw(rng, CELLS)
    family = FAMILIES[name]
    beyond = beyond_published(len(family.positives), len(family.negatives))
    drawn = Drawn(np.empty(CELLS), *np.empty((2, CELLS, len(WIDE))))
    for k in range(CELLS):
        place = rng.uniform(size=4)
        gone = rng.uniform(size=2) * (POSITIVE_LOSS, GRAPHITE_LOSS)
        makes = [_make(family, place, rng) for _ in range(2)]
        for curves, of_lithium in ((drawn.new_v, 0.0), (drawn.curves_v, float(lost[k]))):
            one, other = (aged(*make, of_lithium, gone, family.ends_v) for make in makes)
            curves[k] = one[0] + beyond * (one[0] - other[0])
        drawn.capacity[k] = new[k] * one[1]
    return drawn


def curve_prior(name: str, soc: Floats) -> CurvePrior:
    """Of "lfp" or "nmc".

    Args:
        soc: Grid from 0 to 1, (n,).
    """
    drawn = _drawn(name)
    place = np.linspace(0.0, 1.0, len(WIDE))
    curves, new = (np.array([np.interp(soc, place, row) for row in rows]) for rows in drawn[1:])
    if name == "lfp":  # the level is a state of its own
        curves, new = _levelled(curves, soc), _levelled(new, soc)
    return _moments(np.log(drawn.capacity), curves, new)


def _levelled(curves: Floats, soc: Floats) -> Floats:
    """Curves, (cells, n), at the mean's level on the flat part."""
    flat = (soc > 0.2) & (soc < 0.9)
    level = curves[:, flat].mean(axis=1)
    return np.asarray(curves - (level - level.mean())[:, None])


def beyond_published(*makes: int) -> float:
    """How far a further make lies beyond one of m published ones, away from another.

    One of m makes at random scatters by (m - 1) / m of their sample covariance S, a further one by
    (1 + 1/m) S: its own scatter and their mean's doubt. A make a + k (a - b), with a and b drawn
    from the m, scatters by 1 + 2k + 2k² times as much as a, so that this is (m + 1) / (m - 1).

    Args:
        makes: Of each electrode; the one with more makes is what cells differ by.
    """
    m = max(makes)
    return float((np.sqrt(2 * (m + 1) / (m - 1) - 1) - 1) / 2)


def _make(family: Family, place: Floats, rng: np.random.Generator) -> tuple[Electrode, Electrode]:
    """One of the published makes of each electrode, windows at these places, (4,)."""
    positive, negative = (makes[rng.integers(len(makes))] for makes in family[:2])
    return in_new_cell(positive, *place[:2]), in_new_cell(negative, *place[2:])


def in_new_cell(make: HalfCell, low: float, high: float) -> Electrode:
    """A make's electrode in a new cell, its window's ends at these places of their ranges."""
    first = make.low[0] + low * (make.low[1] - make.low[0])
    last = make.high[0] + high * (make.high[1] - make.high[0])
    used = last - first
    filling = first + CHARGE * used
    asked = np.clip(filling, LEAST, make.most)
    # an electrode at its own end leaves its last potential steeply
    volts = make.curve(asked) - BEYOND_V * (filling - asked)
    return Electrode(volts, first / used, make.most / used)


def aged(
    positive: Electrode, negative: Electrode, lost: float, gone: Floats, ends_v: Range
) -> tuple[Floats, float]:
    """Curve of a cell that has lost lithium, at `WIDE` places stretched between its ends, and its
    capacity over that when new.

    What both electrodes hold at full is what they held when new, less the lithium lost. Full is
    where the positive electrode holds what it held, or where the graphite is full; empty where the
    graphite is as empty as it was.

    Args:
        lost: Lithium, over the new capacity.
        gone: Active material of both, over the lithium lost, (2,).
    """
    keep_p, keep_n = 1 - lost * gone
    lithium = positive.left + 1.0 + negative.left - lost
    full_n = min(lithium - positive.left * keep_p, negative.most * keep_n)
    full_p = lithium - full_n
    empty_n = negative.left * keep_n
    empty_p = min(lithium - empty_n, positive.most * keep_p)
    capacity = empty_p - full_p
    n = empty_n + WIDE * (full_n - empty_n)
    p = empty_p + WIDE * (full_p - empty_p)
    volts = np.interp(p / keep_p - positive.left, CHARGE, positive.volts)
    volts -= np.interp(n / keep_n - negative.left, CHARGE, negative.volts)
    # 0 and 100 % lie where the rest voltage reaches the ends
    rising = np.maximum.accumulate(volts)
    low, high = np.interp(ends_v, rising, WIDE)
    place = np.linspace(low, high, len(WIDE))
    return np.interp(place, WIDE, volts), float(capacity * (high - low))


def _moments(ln_q: Floats, curves: Floats, new: Floats) -> CurvePrior:
    """Linear regression of the curves on ln(C/label).

    What a cell was like when new has nothing to do with what it lost: it is left out of the
    regression (a control variate), as by chance alone it would seem to.
    """
    off = ln_q - ln_q.mean()
    mean_v = curves.mean(axis=0)
    beta_v = off @ (curves - new) / float(off @ off)
    rest_v = curves - mean_v - off[:, None] * beta_v
    rest_v /= len(ln_q) ** 0.5
    return CurvePrior(parts_of(ln_q), mean_v, beta_v, rest_v)
