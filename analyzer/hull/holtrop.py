"""Resistance of displacement motor craft and ships by Holtrop and Mennen's statistical method.

Source: J. Holtrop, G. G. J. Mennen, "An approximate power prediction method", International
Shipbuilding Progress 29 (1982) 166-170 (coefficients from memory; the paper's printed example is
the check). It rests on ships of length/beam 3.9 to 15 and Froude numbers up to about 0.45; for
boats outside, its result is an extrapolation.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.hull.resistance import friction_coefficient
from analyzer.series.physics import GRAVITY, SEA, Water

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Ship:
    """A hull's numbers as the method wants them.

    Args:
        length_m: Of the waterline. beam_m. draught_fore_m, draught_aft_m. volume_m3.
        prismatic, midship, waterplane: Coefficients.
        lcb_pct: Centre of buoyancy forward of half length, % of length.
        bulb_area_m2, bulb_height_m: Transverse bulb area and its centre's height; 0 without.
        transom_area_m2: Immersed at rest.
        appendage_area_m2, appendage_factor: Wetted area of appendages and their 1 + k2.
        stern: Afterbody coefficient: -25 pram, -10 V-shaped, 0 normal, +10 U-shaped.
    """

    length_m: float
    beam_m: float
    draught_fore_m: float
    draught_aft_m: float
    volume_m3: float
    prismatic: float
    midship: float
    waterplane: float
    lcb_pct: float
    bulb_area_m2: float = 0.0
    bulb_height_m: float = 0.0
    transom_area_m2: float = 0.0
    appendage_area_m2: float = 0.0
    appendage_factor: float = 1.5
    stern: float = 0.0
    water: Water = SEA

    @property
    def draught_m(self) -> float:
        """Mean draught."""
        return (self.draught_fore_m + self.draught_aft_m) / 2

    @property
    def block(self) -> float:
        """Block coefficient on the waterline's length."""
        return self.volume_m3 / (self.length_m * self.beam_m * self.draught_m)


def run_length_m(ship: Ship) -> float:
    """Length of the run, LR."""
    cp = ship.prismatic
    return ship.length_m * (1 - cp + 0.06 * cp * ship.lcb_pct / (4 * cp - 1))


def c12(ship: Ship) -> float:
    """Draught's part in the form factor."""
    ratio = ship.draught_m / ship.length_m
    if ratio > 0.05:
        return float(ratio**0.2228446)
    if ratio > 0.02:
        return float(48.20 * (ratio - 0.02) ** 2.078 + 0.479948)
    return 0.479948


def form_factor(ship: Ship) -> float:
    """1 + k1 of the hull."""
    c13 = 1 + 0.003 * ship.stern
    cp = ship.prismatic
    tail = (
        (ship.beam_m / run_length_m(ship)) ** 0.92497
        * (0.95 - cp) ** -0.521448
        * (1 - cp + 0.0225 * ship.lcb_pct) ** 0.6906
    )
    return float(c13 * (0.93 + c12(ship) * tail))


def wetted_area_m2(ship: Ship) -> float:
    """Wetted area of the bare hull."""
    b_t = ship.beam_m / ship.draught_m
    shape = (
        0.4530
        + 0.4425 * ship.block
        - 0.2862 * ship.midship
        - 0.003467 * b_t
        + 0.3696 * ship.waterplane
    )
    girth = ship.length_m * (2 * ship.draught_m + ship.beam_m) * math.sqrt(ship.midship)
    return girth * shape + 2.38 * ship.bulb_area_m2 / ship.block


def entrance_deg(ship: Ship) -> float:
    """Half angle of entrance, iE."""
    length, beam = ship.length_m, ship.beam_m
    power = (
        -((length / beam) ** 0.80856)
        * (1 - ship.waterplane) ** 0.30484
        * (1 - ship.prismatic - 0.0225 * ship.lcb_pct) ** 0.6367
        * (run_length_m(ship) / beam) ** 0.34574
        * (100 * ship.volume_m3 / length**3) ** 0.16302
    )
    return float(1 + 89 * math.exp(power))


def c7(ship: Ship) -> float:
    """Beam's part in the wave resistance."""
    ratio = ship.beam_m / ship.length_m
    if ratio < 0.11:
        return float(0.229577 * ratio**0.33333)
    return ratio if ratio < 0.25 else 0.5 - 0.0625 / ratio


def c1(ship: Ship) -> float:
    """Wave resistance's leading coefficient."""
    steep = (ship.draught_m / ship.beam_m) ** 1.07961
    return float(2223105 * c7(ship) ** 3.78613 * steep * (90 - entrance_deg(ship)) ** -1.37565)


def c3(ship: Ship) -> float:
    """The bulb's size against the hull's."""
    if not ship.bulb_area_m2:
        return 0.0
    below = ship.draught_fore_m - ship.bulb_height_m + 0.31 * math.sqrt(ship.bulb_area_m2)
    return float(0.56 * ship.bulb_area_m2**1.5 / (ship.beam_m * ship.draught_m * below))


def c2(ship: Ship) -> float:
    """What the bulb leaves of the wave resistance."""
    return math.exp(-1.89 * math.sqrt(c3(ship)))


def c5(ship: Ship) -> float:
    """What the transom leaves of the wave resistance."""
    area = ship.beam_m * ship.draught_m * ship.midship
    return 1 - 0.8 * ship.transom_area_m2 / area


def wave_n(ship: Ship, speed_mps: Floats) -> Floats:
    """Wave-making resistance. [N], shape of `speed_mps`."""
    cp, length, beam = ship.prismatic, ship.length_m, ship.beam_m
    froude = speed_mps / math.sqrt(GRAVITY * length)
    lam = 1.446 * cp - (0.03 * length / beam if length / beam < 12 else 0.36)
    slender = length**3 / ship.volume_m3
    c15 = (
        -1.69385
        if slender < 512
        else (
            0.0 if slender > 1727 else -1.69385 + (length / ship.volume_m3 ** (1 / 3) - 8.0) / 2.36
        )
    )
    c16 = 8.07981 * cp - 13.8673 * cp**2 + 6.984388 * cp**3 if cp < 0.80 else 1.73014 - 0.7067 * cp
    m1 = (
        0.0140407 * length / ship.draught_m
        - 1.75254 * ship.volume_m3 ** (1 / 3) / length
        - 4.79323 * beam / length
        - c16
    )
    with np.errstate(divide="ignore", over="ignore"):
        m2 = c15 * cp**2 * np.exp(-0.1 * froude**-2.0)
        power = m1 * froude**-0.9 + m2 * np.cos(lam * froude**-2.0)
    weight_n = ship.volume_m3 * ship.water.density_kg_m3 * GRAVITY
    return np.asarray(c1(ship) * c2(ship) * c5(ship) * weight_n * np.exp(power))


def bulb_n(ship: Ship, speed_mps: Floats) -> Floats:
    """Extra pressure resistance of the bulb. [N]"""
    if not ship.bulb_area_m2:
        return np.zeros_like(speed_mps)
    root = math.sqrt(ship.bulb_area_m2)
    depth = ship.draught_fore_m - ship.bulb_height_m
    emerged = 0.56 * root / (ship.draught_fore_m - 1.5 * ship.bulb_height_m)
    froude = speed_mps / np.sqrt(GRAVITY * (depth - 0.25 * root) + 0.15 * speed_mps**2)
    weight_n_m3 = ship.water.density_kg_m3 * GRAVITY
    size = 0.11 * math.exp(-3 * emerged**-2.0) * ship.bulb_area_m2**1.5 * weight_n_m3
    return np.asarray(size * froude**3 / (1 + froude**2))


def transom_n(ship: Ship, speed_mps: Floats) -> Floats:
    """Extra pressure resistance of an immersed transom. [N]"""
    if not ship.transom_area_m2:
        return np.zeros_like(speed_mps)
    width = 2 * GRAVITY * ship.transom_area_m2 / ship.beam_m / (1 + ship.waterplane)
    c6 = np.maximum(0.2 * (1 - 0.2 * speed_mps / math.sqrt(width)), 0.0)
    pressure = 0.5 * ship.water.density_kg_m3 * speed_mps**2
    return np.asarray(pressure * ship.transom_area_m2 * c6)


def correlation(ship: Ship) -> float:
    """Model-ship correlation allowance, CA."""
    c4 = min(ship.draught_fore_m / ship.length_m, 0.04)
    smooth = 0.006 * (ship.length_m + 100) ** -0.16 - 0.00205
    bulb = 0.003 * math.sqrt(ship.length_m / 7.5) * ship.block**4 * c2(ship) * (0.04 - c4)
    return float(smooth + bulb)


def friction_n(ship: Ship, speed_mps: Floats, area_m2: float) -> Floats:
    """Flat-plate friction of an area at the hull's Reynolds number. [N]"""
    coefficient = friction_coefficient(speed_mps * ship.length_m / ship.water.viscosity_m2_s)
    return np.asarray(0.5 * ship.water.density_kg_m3 * speed_mps**2 * area_m2 * coefficient)


def resistance_parts_n(ship: Ship, speed_mps: Floats) -> tuple[Floats, Floats]:
    """Viscous part (friction with form factor, appendages) and the rest, each (k,). [N]

    The correlation allowance for large ships' roughness is left out: it does not hold for boats.
    """
    hull = form_factor(ship) * friction_n(ship, speed_mps, wetted_area_m2(ship))
    extra = ship.appendage_factor * friction_n(ship, speed_mps, ship.appendage_area_m2)
    waves = wave_n(ship, speed_mps) + bulb_n(ship, speed_mps) + transom_n(ship, speed_mps)
    return hull + extra, waves
