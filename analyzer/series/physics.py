"""Constants of nature and of the water and air that boats move in."""

from dataclasses import dataclass

GRAVITY = 9.80665  # m/s², standard; source: 3rd General Conference on Weights and Measures, 1901
WATER_DENSITY = 1025.0  # kg/m³, sea water near 15 °C; source: EOS-80 (1025.97)
WATER_VISCOSITY = 1.19e-6  # m²/s, sea water at 15 °C (ITTC 7.5-02-01-03)
AIR_DENSITY = 1.225  # kg/m³, dry air at 15 °C and 1013.25 hPa (International Standard Atmosphere)
# Fresh water at 15 °C: kg/m³ and m²/s (ITTC 7.5-02-01-03).
FRESH_DENSITY, FRESH_VISCOSITY = 999.1, 1.139e-6


@dataclass(frozen=True)
class Water:
    """What a hull floats in. [kg/m³], [m²/s] kinematic"""

    density_kg_m3: float = WATER_DENSITY
    viscosity_m2_s: float = WATER_VISCOSITY


SEA = Water()


def water(density_kg_m3: float) -> Water:
    """Fresh, brackish or sea water by its density; viscosity goes along in a straight line."""
    salt = (density_kg_m3 - FRESH_DENSITY) / (WATER_DENSITY - FRESH_DENSITY)
    viscosity = FRESH_VISCOSITY + salt * (WATER_VISCOSITY - FRESH_VISCOSITY)
    return Water(density_kg_m3, viscosity)
