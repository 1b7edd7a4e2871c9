"""Tidal harmonics: where sun and moon stand, and what each constituent of the tide does by it.

A constituent of amplitude A and phase lag G contributes f A cos(V + u - G) at a time: V its
equilibrium argument, f and u its node factor and node angle, which follow the moon's orbit round
its 18.6 years.

Source: P. Schureman, "Manual of harmonic analysis and prediction of tides", U.S. Coast and
Geodetic Survey, Special Publication 98, 1958, formulas 65 to 235 and table 2 (from memory, checked
against another program's arguments in `tests/analyzer/environment/test_tide.py`); longitudes of
sun and moon: J. Meeus, "Astronomical algorithms", 2nd ed. 1998, chapters 25 and 47 (from memory,
checked likewise).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from logger.units import DAY_S, HOUR_S

Floats = npt.NDArray[np.float64]

J2000_S = 946_728_000.0  # 2000-01-01 12:00 UTC in seconds since 1970, by definition
CENTURY_S = 36525.0 * DAY_S  # by definition
HOUR_DEG = 15.0  # that the mean sun turns in an hour, by definition
# Mean longitudes of date, in degrees and degrees a century; the minute between UTC and dynamical
# time moves the fastest by 0.01 degrees. Source: Meeus, as above.
MOON = (218.3164477, 481267.88123421, -0.0015786)
SUN = (280.46646, 36000.76983, 0.0003032)
MOON_PERIGEE = (83.3532465, 4069.0137287, -0.0103200)
SUN_PERIGEE = (282.93735, 1.71946, 0.00046)
MOON_NODE = (125.0445479, -1934.1362891, 0.0020754)


@dataclass(frozen=True)
class Orbit:
    """Where sun and moon stand at times, each in radians, (n,).

    Args:
        hour: The mean sun's hour angle at Greenwich, nothing at noon: Schureman's T.
        moon, sun, perigee, sun_perigee: Mean longitudes: s, h, p, p1.
        incline, xi, nu: Of the moon's orbit to the equator, and where they cross: I, xi, nu.
    """

    hour: Floats
    moon: Floats
    sun: Floats
    perigee: Floats
    sun_perigee: Floats
    incline: Floats
    xi: Floats
    nu: Floats

    @classmethod
    def at(cls, t_s: Floats) -> "Orbit":
        """At times. [UTC s] Source: Schureman, formulas for I, xi and nu from the moon's node."""
        node = (_longitude(MOON_NODE, t_s) + np.pi) % (2 * np.pi) - np.pi
        incline = np.arccos(0.91370 - 0.03569 * np.cos(node))
        half = np.tan(node / 2)
        one, other = np.arctan(1.01883 * half), np.arctan(0.64412 * half)
        return cls(
            hour=2 * np.pi * np.asarray(t_s % DAY_S) / DAY_S - np.pi,
            moon=_longitude(MOON, t_s),
            sun=_longitude(SUN, t_s),
            perigee=_longitude(MOON_PERIGEE, t_s),
            sun_perigee=_longitude(SUN_PERIGEE, t_s),
            incline=incline,
            xi=node - one - other,
            nu=one - other,
        )


def _longitude(terms: tuple[float, float, float], t_s: Floats) -> Floats:
    """A mean longitude at times. [rad]"""
    centuries = (np.asarray(t_s, dtype=np.float64) - J2000_S) / CENTURY_S
    return np.asarray(np.radians(np.polynomial.polynomial.polyval(centuries, terms) % 360.0))


Node = Callable[[Orbit], tuple[Floats, Floats]]  # factor f, angle u [rad]


def _none(at: Orbit) -> tuple[Floats, Floats]:
    return np.ones_like(at.nu), np.zeros_like(at.nu)


def _m2(at: Orbit) -> tuple[Floats, Floats]:
    cos = np.cos(at.incline / 2)
    return cos**4 / 0.9154, 2 * (at.xi - at.nu)


def _o1(at: Orbit) -> tuple[Floats, Floats]:
    cos = np.cos(at.incline / 2)
    factor = np.sin(at.incline) * cos**2 / 0.3800
    return factor, 2 * at.xi - at.nu


def _k1(at: Orbit) -> tuple[Floats, Floats]:
    """Moon and sun together: nu' of Schureman."""
    twice = np.sin(2 * at.incline)
    east = twice * np.sin(at.nu)
    north = twice * np.cos(at.nu)
    square = 0.8965 * twice**2 + 0.6001 * north + 0.1006
    return np.sqrt(square), -np.arctan2(east, north + 0.3347)


def _k2(at: Orbit) -> tuple[Floats, Floats]:
    """Moon and sun together: 2 nu'' of Schureman."""
    moon = np.sin(at.incline) ** 2
    east = moon * np.sin(2 * at.nu)
    north = moon * np.cos(2 * at.nu)
    square = 19.0444 * moon**2 + 2.7702 * north + 0.0981
    return np.sqrt(square), -np.arctan2(east, north + 0.0727)


def _j1(at: Orbit) -> tuple[Floats, Floats]:
    factor = np.sin(2 * at.incline) / 0.7214
    return factor, -at.nu


def _oo1(at: Orbit) -> tuple[Floats, Floats]:
    sin = np.sin(at.incline / 2)
    factor = np.sin(at.incline) * sin**2 / 0.0164
    return factor, -2 * at.xi - at.nu


def _mf(at: Orbit) -> tuple[Floats, Floats]:
    sin = np.sin(at.incline)
    return sin**2 / 0.1578, -2 * at.xi


def _mm(at: Orbit) -> tuple[Floats, Floats]:
    sin = np.sin(at.incline)
    factor = (2 / 3 - sin**2) / 0.5021
    return factor, np.zeros_like(at.nu)


def _l2(at: Orbit) -> tuple[Floats, Floats]:
    """L2 has a part that follows the perigee: 1 / Ra and R of Schureman."""
    twice = 2 * (at.perigee - at.xi)
    square = np.tan(at.incline / 2) ** 2
    ratio = 1 - 12 * square * np.cos(twice) + 36 * square**2
    north = 1 / (6 * square) - np.cos(twice)
    moved = np.arctan2(np.sin(twice), north)
    factor, angle = _m2(at)
    return factor * np.sqrt(ratio), angle - moved


def _m1(at: Orbit) -> tuple[Floats, Floats]:
    """M1 likewise: 1 / Qa and Q; the perigee is in its argument already."""
    own = at.perigee - at.xi
    ratio = 2.310 + 1.435 * np.cos(2 * own)
    moved = np.arctan2(0.483 * np.sin(own), np.cos(own))
    factor, _ = _o1(at)
    angle = at.xi - at.nu + moved - at.perigee
    return factor * np.sqrt(ratio), angle


FORMULAS: dict[str, Node] = {
    "none": _none,
    "m2": _m2,
    "o1": _o1,
    "k1": _k1,
    "k2": _k2,
    "j1": _j1,
    "oo1": _oo1,
    "mf": _mf,
    "mm": _mm,
    "l2": _l2,
    "m1": _m1,
}
# Name (as NOAA and the IHO write it), multiples of T, s, h, p and p1, the argument's constant in
# degrees, the node formula. Source: Schureman, table 2, from memory.
BASIC_TEXT = """
M2     2 -2  2  0  0    0  m2
S2     2  0  0  0  0    0  none
N2     2 -3  2  1  0    0  m2
K1     1  0  1  0  0  -90  k1
O1     1 -2  1  0  0   90  o1
P1     1  0 -1  0  0   90  none
K2     2  0  2  0  0    0  k2
Q1     1 -3  1  1  0   90  o1
NU2    2 -3  4 -1  0    0  m2
MU2    2 -4  4  0  0    0  m2
2N2    2 -4  2  2  0    0  m2
LAM2   2 -1  0  1  0  180  m2
L2     2 -1  2 -1  0  180  l2
T2     2  0 -1  0  1    0  none
R2     2  0  1  0 -1  180  none
S1     1  0  0  0  0    0  none
M1     1 -1  1  1  0  -90  m1
J1     1  1  1 -1  0  -90  j1
OO1    1  2  1  0  0  -90  oo1
2Q1    1 -4  1  2  0   90  o1
RHO    1 -3  3 -1  0   90  o1
MM     0  1  0 -1  0    0  mm
MF     0  2  0  0  0    0  mf
SSA    0  0  2  0  0    0  none
SA     0  0  1  0  0    0  none
"""
# Shallow-water tides: arguments and node angles add up, node factors multiply. Source: the same.
COMPOUND_TEXT = """
M4    M2 M2
M6    M2 M2 M2
M8    M2 M2 M2 M2
S4    S2 S2
S6    S2 S2 S2
MN4   M2 N2
MS4   M2 S2
MK3   M2 K1
2MK3  M2 M2 -K1
2SM2  S2 S2 -M2
MSF   S2 -M2
"""


@dataclass(frozen=True)
class Basic:
    """A tide of its own. multiples: Of T, s, h, p and p1."""

    multiples: tuple[int, ...]
    constant_deg: float
    node: Node

    @classmethod
    def read(cls, text: str) -> "Basic":
        """A row of the table without its name."""
        *numbers, formula = text.split()
        *multiples, constant = map(int, numbers)
        return cls(tuple(multiples), float(constant), FORMULAS[formula])


def _rows(text: str) -> dict[str, str]:
    """Name and rest of each line."""
    lines = (line.partition(" ") for line in text.strip().splitlines())
    return {name: rest for name, _, rest in lines}


BASIC = {name: Basic.read(rest) for name, rest in _rows(BASIC_TEXT).items()}
COMPOUND = {name: rest.split() for name, rest in _rows(COMPOUND_TEXT).items()}
NAMES = (*BASIC, *COMPOUND, "M3")


def argument(name: str, at: Orbit) -> tuple[Floats, Floats]:
    """Node factor f, and V + u [rad], of a constituent.

    Raises:
        KeyError: It is none of `NAMES`.
    """
    if name == "M3":  # a lunar tide of its own: 3/2 of M2's argument, f to the power of 3/2
        factor, angle = argument("M2", at)
        return factor**1.5, 1.5 * angle
    if name in COMPOUND:
        return _compound(COMPOUND[name], at)
    tide = BASIC[name]
    factor, angle = tide.node(at)
    angle = angle + np.radians(tide.constant_deg)
    along = (at.hour, at.moon, at.sun, at.perigee, at.sun_perigee)
    for times, longitude in zip(tide.multiples, along, strict=True):
        angle = angle + times * longitude
    return factor, angle


def _compound(parts: list[str], at: Orbit) -> tuple[Floats, Floats]:
    """Parts as "M2", or "-K1" where one is taken away."""
    factor = np.ones_like(at.nu)
    angle = np.zeros_like(at.nu)
    for part in parts:
        one, turned = argument(part.removeprefix("-"), at)
        factor = factor * one
        angle = angle + _sign(part) * turned
    return factor, angle


def _sign(part: str) -> int:
    return -1 if part.startswith("-") else 1


def degrees_per_hour(name: str) -> float:
    """How fast a constituent's argument turns, its mean over a node's 18.6 years. [deg/h]"""
    if name == "M3":
        return 1.5 * degrees_per_hour("M2")
    if name in COMPOUND:
        parts = COMPOUND[name]
        return sum(_sign(one) * degrees_per_hour(one.removeprefix("-")) for one in parts)
    longitudes = (MOON, SUN, MOON_PERIGEE, SUN_PERIGEE)
    a_century = [terms[1] for terms in longitudes]
    hours = CENTURY_S / HOUR_S
    rates = [HOUR_DEG, *(degrees / hours for degrees in a_century)]
    return float(np.dot(BASIC[name].multiples, rates))
