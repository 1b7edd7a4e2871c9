"""What a cell shows that holds less charge than the median cell, and how well that is known.

A cell with `shift` less charge stands, on the curve of all cells, where the median cell stands once
so much more has been given:

    d = V(x + shift) - V(x),  x the charge moved, V the voltage at rest.

V is the chemistry's curve and what the median cell's own voltages say it is off by, a Gaussian
process along the charge axis (Rasmussen and Williams 2006, chapter 2) with the polarisation that
load leaves as linear terms. Where the log has seen the cell, V is its own; beyond, it is the
chemistry's, as doubtful as that is. Giving, taking and resting have each a curve of their own.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.cells.levels import Table
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]

LEVEL_SD_V = 0.001  # of a level's mean distance: resolution, filter, circuit; assumed
PLACE_SD = 0.002  # of where within a level its readings lie, in charge: half its width; assumed
KNEE_SD = 0.015  # of where on the charge axis the curve's bends lie; assumed
BEND_SOC = 0.02  # charge over which the curve's own bends are alike; assumed
BEND_V = 0.01  # how far they may lie off the chemistry's; assumed
# Resistance beside that which load steps show, as a share of it: what the current itself, the fast
# and the slow pair drop more or less than usual circuits have it; standard deviations, assumed.
LEFT_OVER_SD = np.array([0.15, 0.15, 0.3])
GAP_SD = 1.0  # of the gap between charge and discharge, and of where it stood at first; assumed
NOISE_V = (0.0005, 0.001, 0.002, 0.004, 0.008)  # of a level about a smooth curve, tried in turn
STEP = 0.004  # of the charge axis that curves are tabulated on
REVERSED_V = -1.0  # an emptied cell driven on is not followed below this; assumed
OVER_V = 0.3  # nor an overfull one further above the curve's end; assumed
CHARGE = np.arange(1.06, -0.5, -STEP)  # of the median cell, along a rising place


@dataclass(frozen=True)
class _Curve:
    """Of one way, tabulated along the axis, (a,).

    Args:
        volts, slope: At rest [V]; falling as the pack gives, positive [V per unit of charge].
        doubt_v: How far it may be off where it was not seen, beyond the next.
        noise_v2: Variance of the curve where it was seen; alike over `BEND_SOC`.
    """

    volts: Floats
    slope: Floats
    doubt_v: Floats
    noise_v2: float


class MedianCurve:
    """The curves of all cells of a string, for one place of full.

    Args:
        charge: Of the median cell where `place` is 0. [frac]
        r_ohm: Resistance of the median cell, as load steps show it.
    """

    def __init__(self, table: Table, kind: Chemistry, charge: float, r_ohm: float) -> None:
        self.table = table
        self.kind = kind
        self.r_ohm = r_ohm
        self.depth = 1.0 - (charge - table.place)  # given from full, (m,)
        self._charge = charge
        self._place = charge - CHARGE
        self._here_v = np.zeros(len(table.place))
        self.slope = np.zeros(len(table.place))  # where the median cell stands, (m,)
        self._by_way = {way: self._fitted(way) for way in (-1, 0, 1)}
        for at, curve in self._ways():
            self._here_v[at] = np.interp(table.place[at], self._place, curve.volts)
            self.slope[at] = np.interp(table.place[at], self._place, curve.slope)

    def shown(self, shift: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """What cells show that hold less charge.

        Args:
            shift: Charge missing at each level, (g, m). [frac]
        Returns:
            Distance from the median cell [V]; slope of the curve there [V per unit]; variance of a
            level's mean, each for itself [V²]; error of the curve there, alike at all levels [V];
            all (g, m).
        """
        target = self.table.place + shift
        volts, slope = np.zeros_like(target), np.zeros_like(target)
        variance, doubt_v = np.zeros_like(target), np.zeros_like(target)
        for at, curve in self._ways():
            there = target[:, at]
            volts[:, at] = np.interp(there, self._place, curve.volts) - self._here_v[at]
            slope[:, at] = np.interp(there, self._place, curve.slope)
            variance[:, at] = curve.noise_v2
            apart = 1.0 - np.exp(-np.abs(shift[:, at]) / BEND_SOC)
            doubt_v[:, at] = apart * np.interp(there, self._place, curve.doubt_v)
        place_v2 = PLACE_SD**2 * (slope**2 + self.slope**2)
        return volts, slope, variance + place_v2 + LEVEL_SD_V**2, doubt_v

    def _ways(self) -> Iterator[tuple[npt.NDArray[np.intp], _Curve]]:
        """Levels of one way, and its curve."""
        for way, curve in self._by_way.items():
            at = np.flatnonzero(self.table.way == way)
            if len(at):
                yield at, curve

    def _fitted(self, way: int) -> _Curve:
        """The chemistry's curve and what the levels of one way say it is off by."""
        at = np.flatnonzero(self.table.way == way)
        published_v, steep = self._published(CHARGE, way)
        volts, doubt_v, noise_v2 = published_v, self._doubt_v(steep), 0.0
        if len(at):
            off_v, doubt_v, noise_v2 = self._off(at, way, steep)
            volts = published_v + off_v
        slope = np.maximum(-np.gradient(volts, self._place), 0.0)
        return _Curve(volts, slope, doubt_v, noise_v2)

    def _off(
        self, at: npt.NDArray[np.intp], way: int, steep: Floats
    ) -> tuple[Floats, Floats, float]:
        """How far off the chemistry's curve is along the axis, its sd, and the noise left."""
        table = self.table
        charge = self._charge - table.place[at]
        published_v, steep_here = self._published(charge, way)
        gap_v = self.kind.gap_v(25.0, np.clip(charge, 0.0, 1.0))
        turned = way + table.hysteresis[at]  # 0 where hysteresis has turned all the way
        fast, slow = polarised(self.kind)
        drop_v = self.r_ohm * (table.amps[at] @ [1.0, 0.0, slow])
        off_v = table.volts[at] + drop_v - gap_v * turned - published_v
        left_sd = self.r_ohm * LEFT_OVER_SD
        own = self._covariance(charge, steep_here, charge, steep_here)
        own += (table.amps[at] * left_sd**2) @ table.amps[at].T
        # An error of the circuit is a share of its polarisation, and lasts for some minutes.
        error_v = self.kind.loss_sd * self.r_ohm * (table.amps[at] @ [0.0, fast, slow])
        apart_s = np.abs(table.time_s[at, None] - table.time_s[at])
        own += np.outer(error_v, error_v) * np.exp(-apart_s / self.kind.lasts_s)
        own += GAP_SD**2 * np.outer(gap_v * turned, gap_v * turned)
        factor = _likeliest(own, off_v)
        cross = self._covariance(CHARGE, steep, charge, steep_here)
        gain = np.linalg.solve(factor, cross.T)
        off_there = gain.T @ np.linalg.solve(factor, off_v)
        left_v2 = self._doubt_v(steep) ** 2 - (gain**2).sum(axis=0)
        # What is left everywhere is the curve's level, which no difference shows.
        doubt_v = np.sqrt(np.maximum(left_v2 - left_v2.min(), 0.0))
        seen_v = float(np.median(np.interp(table.place[at], self._place, doubt_v)))
        unseen_v = np.sqrt(np.maximum(doubt_v**2 - seen_v**2, 0.0))
        return np.asarray(off_there), np.asarray(unseen_v), seen_v**2

    def _covariance(self, x: Floats, steep_x: Floats, y: Floats, steep_y: Floats) -> Floats:
        """Of what the curve is off by: as a whole, along a tenth of the charge, at each bend, and
        by where the bends lie."""
        apart = np.abs(x[:, None] - y)
        kind = self.kind
        whole = kind.curve_sd_v**2 + kind.shape_sd_v**2 * np.exp(
            -0.5 * (apart / kind.shape_soc) ** 2
        )
        bends = BEND_V**2 * np.exp(-0.5 * (apart / BEND_SOC) ** 2)
        moved = KNEE_SD**2 * np.outer(steep_x, steep_y) * np.exp(-apart / kind.shape_soc)
        return np.asarray(whole + bends + moved)

    def _doubt_v(self, steep: Floats) -> Floats:
        """Standard deviation of the chemistry's curve, by itself."""
        level_v2 = self.kind.curve_sd_v**2 + self.kind.shape_sd_v**2 + BEND_V**2
        return np.asarray(np.sqrt(level_v2 + (KNEE_SD * steep) ** 2))

    def _published(self, charge: Floats, way: int) -> tuple[Floats, Floats]:
        """The chemistry's curve and its slope, carried on beyond empty and full."""
        inside = np.clip(charge, 0.0, 1.0)
        steep = self.kind.docv_dsoc(inside)
        volts = self.kind.ocv_v(inside, 25.0, -float(way)) + steep * (charge - inside)
        top_v = float(self.kind.ocv_v(1.0, 25.0, -float(way))) + OVER_V
        return np.clip(volts, REVERSED_V, top_v), steep


def polarised(kind: Chemistry) -> tuple[float, float]:
    """Resistance of a usual circuit's fast and slow pair, of what load steps show of it."""
    shown = kind.r0_ohm_ah + kind.r1_ohm_ah
    return kind.r1_ohm_ah / shown, kind.r2_ohm_ah / shown


def _likeliest(covariance: Floats, values: Floats) -> Floats:
    """Cholesky factor with the noise by which the values are likeliest."""
    best, found = -np.inf, covariance
    unit = np.eye(len(values))
    for noise_v in NOISE_V:
        factor = np.linalg.cholesky(covariance + noise_v**2 * unit)
        white = np.linalg.solve(factor, values)
        log_likelihood = -0.5 * float(white @ white) - float(np.log(np.diag(factor)).sum())
        if log_likelihood > best:
            best, found = log_likelihood, np.asarray(factor)
    return found
