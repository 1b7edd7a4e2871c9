"""Open-circuit curves that cells of a chemistry may have, jointly with what they hold of the label.

Cells are drawn: which published half-cell fits, how much of each electrode, and what ageing took.
Lithium that is lost fills the graphite less at full and the positive electrode less at empty
(degradation modes: M. Dubarry, C. Truchot, B. Liaw, J. Power Sources 219 (2012) 204), so that the
bends of an aged cell's curve lie at other charges. A bend's place thus tells of the capacity, and
that is what the joint moments hold: the curve's error is beta · (ln C/label - mean) + the rest.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves.half_cells import (
    graphite_2020_v,
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

CELLS = 600  # drawn; moments are then good to some per cent; assumed
# Losses of active material, as shares of the lithium lost: lithium's own loss leads in both
# chemistries (Dubarry 2012 and others); the spread is assumed.
GRAPHITE_LOSS, POSITIVE_LOSS = 0.5, 0.3
# How far beyond a new cell's windows its curve is looked at, and in which steps; assumed.
REACH, STEP = 0.06, 0.0025


@dataclass(frozen=True)
class Electrodes:
    """Half cells of one make, and how far they are filled in a new cell: low and high of each end.

    Args:
        positive, negative: Against lithium, by filling. [V]
        empty_x, full_x: Graphite's filling at empty and full.
        empty_y, full_y: The positive electrode's.
        ends_v: At rest at 0 and 100 %.
    """

    positive: Curve
    negative: Curve
    empty_x: tuple[float, float]
    full_x: tuple[float, float]
    empty_y: tuple[float, float]
    full_y: tuple[float, float]
    ends_v: tuple[float, float]


def _lfp_2017_v(y: Floats) -> Floats:
    """The second fit at the level of the first; levels are a state of their own."""
    middle = np.array(0.5)
    level = lfp_electrode_v(middle) - lfp_electrode_2017_v(middle)
    return lfp_electrode_2017_v(y) + level


# Windows of new cells: graphite 0.0085 to 0.78 and iron phosphate 0.95 to 0.03 (Safari and
# Delacourt 2011), graphite up to 0.81 (Prada 2012); how far makes differ from them is assumed.
_LFP = tuple(
    Electrodes(positive, negative, empty_x, (0.72, 0.84), (0.93, 0.97), (0.02, 0.035), (2.5, 3.5))
    for positive in (lfp_electrode_v, _lfp_2017_v)
    for negative, empty_x in ((graphite_v, (0.005, 0.015)), (graphite_2020_v, (0.001, 0.006)))
)
# Those at which the fits of Chen et al. 2020 give 2.5 and 4.2 V, of Mohtat et al. 2020 2.8 and
# 4.2 V; how far makes differ from them is assumed. A discharge ends at 3.0 V (makers' data sheets).
_NMC = (
    Electrodes(nmc_electrode_v, graphite_silicon_v, (0.02, 0.032), (0.87, 0.93), (0.84, 0.87),
               (0.2638, 0.2638), (3.0, 4.2)),
    Electrodes(nmc532_electrode_v, graphite_2020_v, (0.001, 0.004), (0.80, 0.86), (0.87, 0.91),
               (0.0335, 0.0335), (3.0, 4.2)),
)  # fmt: skip
MAKES = {"lfp": _LFP, "nmc": _NMC}


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


def curve_prior(name: str, soc: Floats) -> CurvePrior:
    """Of "lfp" or "nmc".

    Args:
        soc: Grid from 0 to 1, (n,).
    """
    rng = np.random.default_rng(2)
    new, lost = LITHIUM.draw(rng, CELLS)
    curves = np.empty((CELLS, len(soc)))
    share = np.empty(CELLS)
    makes = MAKES[name]
    for k in range(CELLS):
        chosen = rng.integers(len(makes), size=2)
        # cells between two makes are as likely as one or the other: most lie near one
        mix = float(rng.beta(0.5, 0.5))
        place = rng.uniform(size=6)
        one, other = (_aged(makes[i], float(lost[k]), place, soc) for i in chosen)
        curves[k] = mix * one[0] + (1 - mix) * other[0]
        share[k] = mix * one[1] + (1 - mix) * other[1]
    ln_q = np.log(new * share)
    flat = (soc > 0.2) & (soc < 0.9)
    if name == "lfp":  # the level is a state of its own
        curves -= (curves[:, flat].mean(axis=1) - curves[:, flat].mean())[:, None]
    return _moments(ln_q, curves)


def _aged(make: Electrodes, lost: float, place: Floats, soc: Floats) -> tuple[Floats, float]:
    """Curve of a cell that has lost lithium, and its capacity over that when new.

    Of a new cell of capacity 1 the electrodes hold P = 1 / (y0 - y1) and G = 1 / (x1 - x0), and
    the lithium is y1·P + x1·G at full. After the loss full is at the same y1, or where the graphite
    is full, and empty at the same x0.
    """
    ends = (make.empty_x, make.full_x, make.empty_y, make.full_y)
    x0, x1, y0, y1 = _between(ends, place)
    positive = 1 / (y0 - y1)
    graphite = 1 / (x1 - x0)
    lithium = y1 * positive + x1 * graphite - lost
    positive *= 1 - POSITIVE_LOSS * place[4] * lost
    graphite *= 1 - GRAPHITE_LOSS * place[5] * lost
    # a charge ends at the positive electrode's end, or where the graphite can take no more
    full_x = min((lithium - y1 * positive) / graphite, 0.98)
    full_y = (lithium - full_x * graphite) / positive
    empty_y = min((lithium - x0 * graphite) / positive, 0.99)
    capacity = (empty_y - full_y) * positive
    wide = np.linspace(-REACH, 1 + REACH, round((1 + 2 * REACH) / STEP) + 1)
    x = x0 + (full_x - x0) * wide
    y = empty_y + (full_y - empty_y) * wide
    # beyond an electrode's own ends its curve is not asked
    x, y = np.maximum(x, 0.0), np.clip(y, 0.0, 1.0)
    volts = make.positive(y) - make.negative(x)
    # 0 and 100 % lie where the rest voltage reaches the ends
    rising = np.maximum.accumulate(volts)
    low, high = np.interp(make.ends_v, rising, wide)
    curve = np.interp(low + (high - low) * soc, wide, volts)
    return curve, float(capacity * (high - low))


def _between(ends: tuple[tuple[float, float], ...], place: Floats) -> list[float]:
    """Values at their places between low and high ends, places 0 to 1."""
    return [low + (high - low) * at for (low, high), at in zip(ends, place, strict=False)]


def _moments(ln_q: Floats, curves: Floats) -> CurvePrior:
    """Linear regression of the curves on ln(C/label)."""
    off = ln_q - ln_q.mean()
    mean_v = curves.mean(axis=0)
    around_v = curves - mean_v
    beta_v = off @ around_v / float(off @ off)
    rest_v = around_v - off[:, None] * beta_v
    rest_v /= len(ln_q) ** 0.5
    return CurvePrior(parts_of(ln_q), mean_v, beta_v, rest_v)
