"""Constants of nature and of the water and air that boats move in."""

GRAVITY = 9.80665  # m/s², standard (3rd General Conference on Weights and Measures, 1901)
WATER_DENSITY = 1025.0  # kg/m³, sea water near 15 °C (EOS-80: 1025.97)
WATER_VISCOSITY = 1.19e-6  # m²/s, sea water at 15 °C (ITTC 7.5-02-01-03)
AIR_DENSITY = 1.225  # kg/m³, dry air at 15 °C and 1013.25 hPa (International Standard Atmosphere)
