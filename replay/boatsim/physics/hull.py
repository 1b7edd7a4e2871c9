"""The invented hull's resistance: friction line, residuary polynomial, air.

Sources: ITTC-57 friction line; Keuning and Sonnenberg 1998 residuary polynomial for the bare
canoe body (coefficients as transcribed publicly, Froude numbers 0.20 to 0.45). Outside these
speeds the simulated boat follows its own law, said at `residuary_n`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

GRAVITY_MPS2 = 9.80665  # by definition, ISO 80000-3
AIR_KG_M3 = 1.225  # standard atmosphere at sea level, ISO 2533

# Keuning and Sonnenberg 1998.
KS_FROUDE = np.array([0.20, 0.25, 0.30, 0.35, 0.40, 0.45])
KS_A = np.array(
    [
        [0.0014, -0.1071, 0.0637, 0.0090, 0.0153, 0.0011, 0.0012, 0.1021, -0.0648],
        [0.0027, 0.0463, -0.1263, 0.0150, 0.0274, -0.0299, 0.0110, -0.0595, 0.1220],
        [0.0056, -0.8005, 0.4891, 0.0269, 0.0519, -0.0313, 0.0292, 0.7314, -0.3619],
        [0.0032, -0.1011, -0.0813, -0.0382, 0.0320, -0.1481, 0.0837, 0.0223, 0.1587],
        [-0.0064, 2.3095, -1.5152, 0.0751, -0.0858, -0.5349, 0.1715, -2.4550, 1.1865],
        [-0.0171, 3.4017, -1.9862, 0.3242, -0.1450, -0.8043, 0.2952, -3.5284, 1.3575],
    ]
)


@dataclass(frozen=True)
class Water:
    """What the boat floats in."""

    temp_c: float = 15.0
    density_kg_m3: float = 1025.9
    viscosity_m2_s: float = 1.19e-6


@dataclass(frozen=True)
class Hull:
    """An invented hull.

    Args:
        lcb_frac, lcf_frac: Centres of buoyancy and flotation, from the bow, of the waterline.
        rough_frac: Friction is 1 + this times the smooth line's (fouling, paint, form).
        residuary_factor: The boat's own departure from the polynomial at the Froude numbers
            0.20 to 0.45, shape (6,).
        entrance_deg: Half the angle of the waterline at the bow.
        waves_n: Another law of residuary resistance than this module's, (hull, Froude numbers,
            density) to newtons; the kinds of boat in the tests have theirs.
    """

    waterline_m: float
    beam_m: float
    body_draught_m: float
    draught_m: float
    volume_m3: float
    prismatic: float
    waterplane_m2: float
    wetted_m2: float
    keel_wetted_m2: float
    keel_chord_m: float
    lcb_frac: float
    lcf_frac: float
    rough_frac: float
    residuary_factor: tuple[float, ...]
    windage_m2: float
    mass_kg: float
    entrance_deg: float = 20.0
    waves_n: "Callable[[Hull, Floats, float], Floats] | None" = None


def friction_coefficient(reynolds: Floats) -> Floats:
    """ITTC-57 line, same shape as `reynolds`."""
    return np.asarray(0.075 / (np.log10(reynolds) - 2.0) ** 2)


def polynomial_n(hull: Hull, density_kg_m3: float = 1025.0) -> Floats:
    """Keuning-Sonnenberg residuary resistance at `KS_FROUDE`, bare hull. [N] shape (6,)"""
    root = hull.volume_m3 ** (1 / 3)
    area = root**2
    terms = np.array(
        [
            hull.lcb_frac,
            hull.prismatic,
            area / hull.waterplane_m2,
            hull.beam_m / hull.waterline_m,
            area / hull.wetted_m2,
            hull.lcb_frac / hull.lcf_frac,
            hull.lcb_frac**2,
            hull.prismatic**2,
        ]
    )
    share = KS_A[:, 0] + (KS_A[:, 1:] @ terms) * root / hull.waterline_m
    return np.asarray(share * hull.volume_m3 * density_kg_m3 * GRAVITY_MPS2)


def _natural_spline(x: Floats, y: Floats, at: Floats) -> Floats:
    """Natural cubic spline through (x, y), inside the ends."""
    h = np.diff(x)
    rows = np.eye(len(x))
    right = np.zeros(len(x))
    for i in range(1, len(x) - 1):
        before, after = h[i - 1], h[i]
        rows[i, i - 1 : i + 2] = before, 2 * (before + after), after
        slope = (y[i + 1] - y[i]) / after
        slope_before = (y[i] - y[i - 1]) / before
        right[i] = 6 * (slope - slope_before)
    m = np.linalg.solve(rows, right)
    k = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    a = (x[k + 1] - at) / h[k]
    b = (at - x[k]) / h[k]
    bend = ((a**3 - a) * m[k] + (b**3 - b) * m[k + 1]) * h[k] ** 2 / 6
    return np.asarray(a * y[k] + b * y[k + 1] + bend)


def residuary_n(hull: Hull, froude: Floats, density_kg_m3: float) -> Floats:
    """Residuary resistance at any Froude number. [N] same shape as `froude`

    Log resistance runs by a spline between the polynomial's speeds; below 0.20 as the fourth
    power, above 0.45 with the seventh power (the wave wall), both this simulation's choice.
    """
    known = np.maximum(polynomial_n(hull, density_kg_m3), 1.0) * np.array(hull.residuary_factor)
    inside = np.clip(froude, KS_FROUDE[0], KS_FROUDE[-1])
    r = np.exp(_natural_spline(KS_FROUDE, np.log(known), inside))
    below = np.minimum(froude / KS_FROUDE[0], 1.0) ** 4
    above = np.maximum(froude / KS_FROUDE[-1], 1.0) ** 7
    return np.asarray(r * below * above)


def resistance_n(hull: Hull, speed_mps: Floats, water: Water) -> Floats:
    """Resistance in calm water without wind, at speeds >= 0. [N] same shape"""
    v = np.maximum(speed_mps, 1e-3)
    q = 0.5 * water.density_kg_m3 * v**2
    body = friction_coefficient(v * 0.7 * hull.waterline_m / water.viscosity_m2_s + 1e3)
    keel = friction_coefficient(v * hull.keel_chord_m / water.viscosity_m2_s + 1e3)
    friction = q * (hull.wetted_m2 * body + 1.2 * hull.keel_wetted_m2 * keel)
    froude = v / np.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    waves = residuary_n if hull.waves_n is None else hull.waves_n
    return (1 + hull.rough_frac) * friction + waves(hull, froude, water.density_kg_m3)


def air_drag_n(hull: Hull, ahead_mps: float) -> float:
    """Drag of rig and topsides in an apparent wind of `ahead_mps` from ahead. [N]"""
    return 0.5 * AIR_KG_M3 * 0.9 * hull.windage_m2 * ahead_mps * abs(ahead_mps)
