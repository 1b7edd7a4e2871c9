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
# Mean longitudes of date, in degrees and degrees a century; the difference of UTC and dynamical
# time, a minute, moves the fastest by 0.01 degrees. Meeus, as above.
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
    return np.cos(at.incline / 2) ** 4 / 0.9154, 2 * at.xi - 2 * at.nu


def _o1(at: Orbit) -> tuple[Floats, Floats]:
    factor = np.sin(at.incline) * np.cos(at.incline / 2) ** 2 / 0.3800
    return factor, 2 * at.xi - at.nu


def _k1(at: Orbit) -> tuple[Floats, Floats]:
    twice = np.sin(2 * at.incline)
    square = 0.8965 * twice**2 + 0.6001 * twice * np.cos(at.nu) + 0.1006
    return np.sqrt(square), -np.arctan2(twice * np.sin(at.nu), twice * np.cos(at.nu) + 0.3347)


def _k2(at: Orbit) -> tuple[Floats, Floats]:
    square = np.sin(at.incline) ** 2
    east, north = square * np.sin(2 * at.nu), square * np.cos(2 * at.nu)
    factor = np.sqrt(19.0444 * square**2 + 2.7702 * north + 0.0981)
    return factor, -np.arctan2(east, north + 0.0727)


def _j1(at: Orbit) -> tuple[Floats, Floats]:
    return np.sin(2 * at.incline) / 0.7214, -at.nu


def _oo1(at: Orbit) -> tuple[Floats, Floats]:
    factor = np.sin(at.incline) * np.sin(at.incline / 2) ** 2 / 0.0164
    return factor, -2 * at.xi - at.nu


def _mf(at: Orbit) -> tuple[Floats, Floats]:
    return np.sin(at.incline) ** 2 / 0.1578, -2 * at.xi


def _mm(at: Orbit) -> tuple[Floats, Floats]:
    return (2 / 3 - np.sin(at.incline) ** 2) / 0.5021, np.zeros_like(at.nu)


def _l2(at: Orbit) -> tuple[Floats, Floats]:
    """L2 has a part that follows the perigee: 1 / Ra and R of Schureman."""
    twice = 2 * (at.perigee - at.xi)
    square = np.tan(at.incline / 2) ** 2
    ratio = np.sqrt(1 - 12 * square * np.cos(twice) + 36 * square**2)
    moved = np.arctan2(np.sin(twice), 1 / (6 * square) - np.cos(twice))
    factor, angle = _m2(at)
    return factor * ratio, angle - moved


def _m1(at: Orbit) -> tuple[Floats, Floats]:
    """M1 likewise: 1 / Qa and Q; the perigee is in its argument already."""
    own = at.perigee - at.xi
    ratio = np.sqrt(2.310 + 1.435 * np.cos(2 * own))
    moved = np.arctan2(0.483 * np.sin(own), np.cos(own))
    return _o1(at)[0] * ratio, at.xi - at.nu + moved - at.perigee


# Each argument's multiples of T, s, h, p and p1, its constant [deg], and its node formula:
# Schureman, table 2. Names as NOAA and the IHO write them.
BASIC: dict[str, tuple[tuple[int, int, int, int, int], float, Node]] = {
    "M2": ((2, -2, 2, 0, 0), 0.0, _m2),
    "S2": ((2, 0, 0, 0, 0), 0.0, _none),
    "N2": ((2, -3, 2, 1, 0), 0.0, _m2),
    "K1": ((1, 0, 1, 0, 0), -90.0, _k1),
    "O1": ((1, -2, 1, 0, 0), 90.0, _o1),
    "P1": ((1, 0, -1, 0, 0), 90.0, _none),
    "K2": ((2, 0, 2, 0, 0), 0.0, _k2),
    "Q1": ((1, -3, 1, 1, 0), 90.0, _o1),
    "NU2": ((2, -3, 4, -1, 0), 0.0, _m2),
    "MU2": ((2, -4, 4, 0, 0), 0.0, _m2),
    "2N2": ((2, -4, 2, 2, 0), 0.0, _m2),
    "LAM2": ((2, -1, 0, 1, 0), 180.0, _m2),
    "L2": ((2, -1, 2, -1, 0), 180.0, _l2),
    "T2": ((2, 0, -1, 0, 1), 0.0, _none),
    "R2": ((2, 0, 1, 0, -1), 180.0, _none),
    "S1": ((1, 0, 0, 0, 0), 0.0, _none),
    "M1": ((1, -1, 1, 1, 0), -90.0, _m1),
    "J1": ((1, 1, 1, -1, 0), -90.0, _j1),
    "OO1": ((1, 2, 1, 0, 0), -90.0, _oo1),
    "2Q1": ((1, -4, 1, 2, 0), 90.0, _o1),
    "RHO": ((1, -3, 3, -1, 0), 90.0, _o1),
    "MM": ((0, 1, 0, -1, 0), 0.0, _mm),
    "MF": ((0, 2, 0, 0, 0), 0.0, _mf),
    "SSA": ((0, 0, 2, 0, 0), 0.0, _none),
    "SA": ((0, 0, 1, 0, 0), 0.0, _none),
}
# Shallow-water tides: arguments and node angles add up, node factors multiply. Schureman, table 2.
COMPOUND: dict[str, dict[str, int]] = {
    "M4": {"M2": 2},
    "M6": {"M2": 3},
    "M8": {"M2": 4},
    "S4": {"S2": 2},
    "S6": {"S2": 3},
    "MN4": {"M2": 1, "N2": 1},
    "MS4": {"M2": 1, "S2": 1},
    "MK3": {"M2": 1, "K1": 1},
    "2MK3": {"M2": 2, "K1": -1},
    "2SM2": {"S2": 2, "M2": -1},
    "MSF": {"S2": 1, "M2": -1},
}
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
        factor, angle = np.ones_like(at.nu), np.zeros_like(at.nu)
        for part, times in COMPOUND[name].items():
            one, turned = argument(part, at)
            factor, angle = factor * one ** abs(times), angle + times * turned
        return factor, angle
    multiples, constant_deg, node = BASIC[name]
    along = (at.hour, at.moon, at.sun, at.perigee, at.sun_perigee)
    angle = sum((k * one for k, one in zip(multiples, along, strict=True)), np.zeros_like(at.nu))
    factor, moved = node(at)
    return factor, angle + np.radians(constant_deg) + moved


def degrees_per_hour(name: str) -> float:
    """How fast a constituent's argument turns, its mean over a node's 18.6 years. [deg/h]"""
    if name == "M3":
        return 1.5 * degrees_per_hour("M2")
    if name in COMPOUND:
        return sum(times * degrees_per_hour(part) for part, times in COMPOUND[name].items())
    hours = CENTURY_S / HOUR_S
    rates = (15.0, MOON[1] / hours, SUN[1] / hours, MOON_PERIGEE[1] / hours, SUN_PERIGEE[1] / hours)
    return sum(k * rate for k, rate in zip(BASIC[name][0], rates, strict=True))
