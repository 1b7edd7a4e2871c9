"""Residuary resistance of the invented boats, by regressions for small craft.

Displacement hulls: G. van Oortmerssen, "A power prediction method and its application to small
ships", International Shipbuilding Progress 18 (1971) 397, equation 30 and table II: tugs, trawlers
and launches of 8 to 80 m, Froude numbers up to 0.5. Hulls beamier for their draught than the
regression's own are taken at its edge.

Launches that begin to plane: D. B. Wyman's displacement-to-planing formula (Professional
BoatBuilder, 1998; from memory), speed in knots over the root of the length in feet against horse
power a long ton, turned into resistance with half of the shaft's power doing useful work.
"""

import math

import numpy as np
import numpy.typing as npt

from replay.boatsim.physics.hull import GRAVITY_MPS2, Hull

Floats = npt.NDArray[np.float64]

# Rows: 1, lcb, lcb^2, Cp, Cp^2, L/B, (L/B)^2, C_wl, C_wl^2, B/T, (B/T)^2, Cm; columns C1 to C4.
TABLE_II = np.array(
    [
        [79.32134, 6714.88397, -908.44371, 3012.14549],
        [-0.09287, 19.83000, 2.52704, 2.71437],
        [-0.00209, 2.66997, -0.35794, 0.25521],
        [-246.45896, -19662.02400, 755.18660, -9198.80840],
        [187.13664, 14099.90400, -48.93952, 6886.60416],
        [-1.42893, 137.33613, 9.86873, -159.92694],
        [0.11898, -13.36938, -0.77652, 16.23621],
        [0.15727, -4.49852, 3.79020, -0.82014],
        [-0.00064, 0.02100, -0.01879, 0.00225],
        [-2.52862, 216.44923, -9.24399, 236.37970],
        [0.50619, -35.07602, 1.28571, -44.17820],
        [1.62851, -128.72535, 250.64910, 207.25580],
    ]
)
BEAM_DRAUGHT = (1.9, 4.0)  # the regression's own range; assumed from its table of limits, memory
HIGHEST_FROUDE = 0.5
KN_PER_MPS, FOOT_M, HP_W, POUND_KG = 3600 / 1852, 0.3048, 745.7, 0.45359237
PROPULSIVE = 0.5  # of a launch's shaft power, assumed; Wyman's formula includes it unsaid
BLEND_FROUDE = (0.36, 0.52)  # from the one law to the other, this simulation's choice


def oortmerssen_share(hull: Hull, froude: Floats) -> Floats:
    """Residuary resistance over weight, R/W = C1 e^(-m/9 Fn^-2) + e^(-m Fn^-2) (C2 + C3 sin Fn^-2
    + C4 cos Fn^-2), m = 0.14347 Cp^-2.1976. Same shape as `froude`, above 0 to 0.5."""
    lcb = 100 * (0.5 - hull.lcb_frac)  # percent of length, forward of midships
    slender = hull.waterline_m / hull.beam_m
    entrance = hull.entrance_deg * slender
    wide = float(np.clip(hull.beam_m / hull.body_draught_m, *BEAM_DRAUGHT))
    midship = hull.volume_m3 / (
        hull.prismatic * hull.waterline_m * hull.beam_m * hull.body_draught_m
    )
    cp = hull.prismatic
    terms = [1, lcb, lcb**2, cp, cp**2, slender, slender**2, entrance, entrance**2, wide, wide**2]
    c1, c2, c3, c4 = 1e-3 * (np.array([*terms, midship]) @ TABLE_II)
    inverse = 1 / np.square(froude)
    m = 0.14347 * cp**-2.1976
    waves = c2 + c3 * np.sin(inverse) + c4 * np.cos(inverse)
    return np.asarray(c1 * np.exp(-m * inverse / 9) + np.exp(-m * inverse) * waves)


def wyman_share(hull: Hull, froude: Floats) -> Floats:
    """Whole resistance over weight, by P = (W / 1000 lb) (s / (0.8 + 0.17 s))^3 hp, s in kn/ft^0.5.

    Same shape as `froude`.
    """
    speed = froude * math.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    s = speed * KN_PER_MPS / math.sqrt(hull.waterline_m / FOOT_M)
    watts_per_kg = HP_W / (1000 * POUND_KG) * (s / (0.8 + 0.17 * s)) ** 3
    return np.asarray(PROPULSIVE * watts_per_kg / (np.maximum(speed, 0.1) * GRAVITY_MPS2))


def displacement_n(hull: Hull, froude: Floats, density_kg_m3: float) -> Floats:
    """Residuary resistance of a displacement hull. [N] same shape as `froude`

    Above a Froude number of 0.5 with its seventh power (the wave wall), this simulation's choice.
    """
    inside = np.clip(froude, 0.08, HIGHEST_FROUDE)
    share = np.maximum(oortmerssen_share(hull, inside), 1e-5)
    above = np.maximum(froude / HIGHEST_FROUDE, 1.0) ** 7
    return np.asarray(_own(hull, froude) * share * above * _weight_n(hull, density_kg_m3))


def launch_n(hull: Hull, froude: Floats, density_kg_m3: float) -> Floats:
    """What a launch's resistance is beyond friction. [N] same shape as `froude`"""
    speed = np.maximum(froude, 1e-3) * math.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    friction = 0.5 * density_kg_m3 * speed**2 * hull.wetted_m2 * 0.004  # as if in Wyman's figure
    weight = _weight_n(hull, density_kg_m3)
    slow = displacement_n(hull, froude, density_kg_m3)
    fast = _own(hull, froude) * np.maximum(
        wyman_share(hull, froude) * weight - friction, 0.02 * weight
    )
    low, high = BLEND_FROUDE
    share = np.clip((froude - low) / (high - low), 0.0, 1.0)
    share = share * share * (3 - 2 * share)
    return np.asarray(np.exp((1 - share) * np.log(np.maximum(slow, 1e-3)) + share * np.log(fast)))


def _own(hull: Hull, froude: Floats) -> Floats:
    """The boat's own departure from the regression, over Froude numbers 0.2 to 0.5."""
    factors = np.array(hull.residuary_factor)
    return np.asarray(np.interp(froude, np.linspace(0.2, 0.5, len(factors)), factors))


def _weight_n(hull: Hull, density_kg_m3: float) -> float:
    return hull.volume_m3 * density_kg_m3 * GRAVITY_MPS2
