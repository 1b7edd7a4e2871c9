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
from analyzer.cells.published_curve import BEND_SOC, CHARGE, PublishedCurve
from analyzer.pack.cell_model import Chemistry

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

LEVEL_SD_V = 0.001  # of a level's mean distance: resolution, filter, circuit; assumed
PLACE_SD = 0.002  # of where within a level its readings lie, in charge: half its width; assumed
# Resistance beside that which load steps show, as a share of it: what the current itself, the fast
# and the slow pair drop more or less than usual circuits have it; standard deviations, assumed.
LEFT_OVER_SD = np.array([0.15, 0.15, 0.3])
GAP_SD = 1.0  # of the gap between charge and discharge, and of where it stood at first; assumed
# Of a level about a smooth curve, tried in turn; assumed.
NOISE_V = (0.0005, 0.001, 0.002, 0.004, 0.008)


@dataclass(frozen=True)
class Axis:
    """How the charge of the median cell follows from the charge moved.

    Args:
        charge: Of the median cell where `place` is 0. [frac]
        held: What the pack holds, as a share of the label.
    """

    charge: float
    held: float = 1.0

    def at(self, place: Floats) -> Floats:
        """Charge of the median cell. [frac]"""
        return self.charge - place / self.held


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


@dataclass(frozen=True)
class Shown:
    """What cells show, by hypothesis and level, (g, m).

    Args:
        volts: Distance from the median cell.
        slope: Of the curve there. [V per unit of charge]
        variance: Of a level's mean, each for itself. [V²]
        doubt_v: Error of the curve there, alike at all levels.
    """

    volts: Floats
    slope: Floats
    variance: Floats
    doubt_v: Floats


class MedianCurve:
    """The curves of all cells of a string, for one place of full and one capacity.

    Args:
        r_ohm: Resistance of the median cell, as load steps show it.
        published: Of the kind, by way; None: looked up anew.
    """

    def __init__(
        self,
        table: Table,
        kind: Chemistry,
        axis: Axis,
        r_ohm: float,
        published: dict[int, PublishedCurve] | None = None,
    ) -> None:
        self.table = table
        self.kind = kind
        self.r_ohm = r_ohm
        self.axis = axis
        self.charge = axis.at(table.place)  # of the median cell, (m,)
        self.depth = axis.held * (1.0 - self.charge)  # given from full, as a share of Ah, (m,)
        self._place = axis.held * (axis.charge - CHARGE)
        self._here_v = np.zeros(len(table.place))
        self.slope = np.zeros(len(table.place))  # where the median cell stands, (m,)
        self._levels = {}
        for way in np.unique(table.way).tolist():
            self._levels[int(way)] = np.flatnonzero(table.way == way)
        known = published or published_curves(kind)
        self._by_way = {way: self._fitted(known[way], at) for way, at in self._levels.items()}
        for at, curve in self._ways():
            here = table.place[at]
            self._here_v[at] = self._along(here, curve.volts)
            self.slope[at] = self._along(here, curve.slope)

    def shown(self, shift: Floats) -> Shown:
        """What cells show that hold less charge.

        Args:
            shift: Charge missing at each level, (g, m). [frac]
        """
        target = self.table.place + shift
        volts = np.zeros_like(target)
        slope = np.zeros_like(target)
        doubt_v = np.zeros_like(target)
        noise_v2 = np.zeros(len(self.table.place))
        for at, curve in self._ways():
            there = target[:, at]
            volts[:, at] = self._along(there, curve.volts) - self._here_v[at]
            slope[:, at] = self._along(there, curve.slope)
            doubt_v[:, at] = self._along(there, curve.doubt_v)
            noise_v2[at] = curve.noise_v2
        # A cell that stands where the median stands errs as it does.
        apart = np.abs(shift) / BEND_SOC
        doubt_v *= 1.0 - np.exp(-apart)
        # The curve rises with charge: no error of a knee turns the sign of what is shown.
        most_v = np.maximum(np.abs(volts), self.kind.shape_sd_v)
        doubt_v = np.minimum(doubt_v, most_v)
        place_v2 = PLACE_SD**2 * (slope**2 + self.slope**2)
        variance = LEVEL_SD_V**2 + noise_v2 + place_v2
        return Shown(volts, slope, variance, doubt_v)

    def _along(self, place: Floats, values: Floats) -> Floats:
        return np.asarray(np.interp(place, self._place, values))

    def _ways(self) -> Iterator[tuple[Places, _Curve]]:
        """Levels of one way, and its curve."""
        for way, curve in self._by_way.items():
            yield self._levels[way], curve

    def _fitted(self, published: PublishedCurve, at: Places) -> _Curve:
        """The chemistry's curve and what the levels of one way say it is off by."""
        axis = published.along
        seen = published.at(self.charge[at])
        rest_v, error_v2 = self._rest(at, published.way)
        off_v = rest_v - seen.volts
        own = published.covariance(seen, seen) + error_v2
        factor, white = _likeliest(own, off_v)
        gain = np.linalg.solve(factor, published.covariance(seen, axis))
        volts = axis.volts + gain.T @ white
        left_v2 = published.variance(axis) - (gain**2).sum(axis=0)
        # What is left everywhere is the curve's level, which no difference shows.
        left_v2 = np.maximum(left_v2 - left_v2.min(), 0.0)
        here_v2 = self._along(self.table.place[at], left_v2)
        noise_v2 = float(np.median(here_v2))
        doubt_v = np.sqrt(np.maximum(left_v2 - noise_v2, 0.0))
        return _Curve(volts, self._slope(volts), doubt_v, noise_v2)

    def _slope(self, volts: Floats) -> Floats:
        falls = -np.gradient(volts, self._place)
        return np.maximum(falls, 0.0)

    def _rest(self, at: Places, way: int) -> tuple[Floats, Floats]:
        """Rest voltage of the median cell at levels of one way, (n,), and the covariance of what
        polarisation and hysteresis leave in it, (n, n). [V], [V²]"""
        table = self.table
        kind = self.kind
        amps = table.amps[at]
        time_s = table.time_s[at]
        fast, slow = polarised(kind)
        drop_v = self.r_ohm * (amps @ [1.0, 0.0, slow])
        inside = np.clip(self.charge[at], 0.0, 1.0)
        gap_v = kind.gap_v(25.0, inside)
        # 0 where hysteresis has turned all the way.
        turned_v = gap_v * (way + table.hysteresis[at])
        left_v = amps * (self.r_ohm * LEFT_OVER_SD)
        # An error of the circuit is a share of its polarisation, and lasts for some minutes.
        polar_v = self.r_ohm * (amps @ [0.0, fast, slow])
        error_v = kind.loss_sd * polar_v
        apart_s = np.abs(time_s[:, None] - time_s)
        lasting = np.exp(-apart_s / kind.lasts_s)
        error_v2 = left_v @ left_v.T
        error_v2 += np.outer(error_v, error_v) * lasting
        error_v2 += GAP_SD**2 * np.outer(turned_v, turned_v)
        rest_v = table.volts[at] + drop_v - turned_v
        return rest_v, error_v2


def published_curves(kind: Chemistry) -> dict[int, PublishedCurve]:
    """By way."""
    return {way: PublishedCurve(kind, way) for way in (-1, 0, 1)}


def polarised(kind: Chemistry) -> tuple[float, float]:
    """Resistance of a usual circuit's fast and slow pair, of what load steps show of it."""
    shown = kind.r0_ohm_ah + kind.r1_ohm_ah
    return kind.r1_ohm_ah / shown, kind.r2_ohm_ah / shown


def _likeliest(covariance: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Cholesky factor L with the noise by which the values are likeliest, and L^-1 values.

    The factor of [[C, v], [v', c]] is [[L, 0], [(L^-1 v)', ...]], so that one factorisation of all
    noises at once gives both; c is beyond v' C^-1 v for the least of them.
    """
    n = len(values)
    noise_v2 = np.square(NOISE_V)
    unit = np.eye(n)
    bordered = np.zeros((len(noise_v2), n + 1, n + 1))
    bordered[:, :n, :n] = covariance + noise_v2[:, None, None] * unit
    bordered[:, n, :n] = values
    bordered[:, :n, n] = values
    bordered[:, n, n] = 1.0 + values @ values / noise_v2.min()
    every = np.linalg.cholesky(bordered)
    factors = every[:, :n, :n]
    white = every[:, n, :n]
    diagonal = np.diagonal(factors, axis1=1, axis2=2)
    volume = np.log(diagonal).sum(axis=1)
    chi = np.square(white).sum(axis=1)
    log_likelihood = -0.5 * chi - volume
    best = int(log_likelihood.argmax())
    return np.asarray(factors[best]), np.asarray(white[best])
