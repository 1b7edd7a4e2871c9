"""The chemistry's curve as a prior for a string's own: voltage, slope and how far it may be off.

Carried on beyond empty and full, for a cell may be driven there.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

KNEE_SD = 0.015  # of where on the charge axis the curve's bends lie; assumed
BEND_SOC = 0.02  # charge over which the curve's own bends are alike; assumed
BEND_V = 0.01  # how far they may lie off the chemistry's; assumed
REVERSED_V = -1.0  # an emptied cell driven on is not followed below this; assumed
OVER_V = 0.3  # nor an overfull one further above the curve's end; assumed
STEP = 0.004  # of the charge axis that curves are tabulated on; assumed
CHARGE = np.arange(1.06, -0.5, -STEP)  # of the median cell, along a rising place


@dataclass(frozen=True)
class Points:
    """Places on the curve, (n,). steep: its slope there. [frac], [V], [V per unit of charge]"""

    charge: Floats
    volts: Floats
    steep: Floats


@dataclass(frozen=True)
class PublishedCurve:
    """Of one chemistry, for one way: 1 giving, -1 taking, 0 neither."""

    kind: Chemistry
    way: int

    def at(self, charge: Floats) -> Points:
        """Voltage and slope at a charge, empty and full left behind too. [frac] (n,)"""
        inside = np.clip(charge, 0.0, 1.0)
        steep = self.kind.docv_dsoc(inside)
        branch = -float(self.way)
        volts = self.kind.ocv_v(inside, 25.0, branch)
        volts = volts + steep * (charge - inside)
        return Points(charge, np.clip(volts, REVERSED_V, self._top_v), steep)

    @cached_property
    def _top_v(self) -> float:
        return float(self.kind.ocv_v(1.0, 25.0, -float(self.way))) + OVER_V

    @cached_property
    def along(self) -> Points:
        """At `CHARGE`."""
        return self.at(CHARGE)

    def covariance(self, x: Points, y: Points) -> Floats:
        """Of what the curve is off by, (n,) and (k,) to (n, k): as a whole, over some tenth of the
        charge, at each bend, and by where the bends lie. [V²]"""
        kind = self.kind
        apart = np.abs(x.charge[:, None] - y.charge)
        whole = kind.curve_sd_v**2
        shape = kind.shape_sd_v**2 * _near(apart, kind.shape_soc)
        bends = BEND_V**2 * _near(apart, BEND_SOC)
        steep = np.outer(x.steep, y.steep)
        moved = KNEE_SD**2 * steep * np.exp(-apart / kind.shape_soc)
        return np.asarray(whole + shape + bends + moved)

    def variance(self, x: Points) -> Floats:
        """The diagonal of the above, (n,). [V²]"""
        kind = self.kind
        level = kind.curve_sd_v**2 + kind.shape_sd_v**2 + BEND_V**2
        return np.asarray(level + (KNEE_SD * x.steep) ** 2)


def _near(apart: Floats, reach: float) -> Floats:
    """Correlation of a smooth process."""
    return np.asarray(np.exp(-0.5 * (apart / reach) ** 2))
