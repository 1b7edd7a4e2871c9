"""Published figures of copper cable: size, resistance, voltage drop, ampacity.

Sources: ASTM B258 (AWG sizes); IEC 60228:2004 (largest resistances at 20 °C); IEC 60028 (copper);
33 CFR 183.425 Table 5 (ampacity, 30 °C ambient). A rating is no licence: local codes and the
fuse come first.
"""

import math
from functools import lru_cache

import numpy as np

from analyzer.series.series import Floats
from logger.boat import Cable

Numeric = float | Floats

RHO_20C_OHM_MM2_M = 0.017241  # annealed copper, IEC 60028 (from general knowledge)
ALPHA_20C = 0.00393  # 1/K, same source: IEC 60028
CONDUCTIVITY_W_MK = 390.0  # heat, copper near 50 °C (handbook figure from general knowledge)
HEAT_J_MM3_K = 3.45e-3  # 8.96 g/cm³ of 0.385 J/(g K), handbook figures from general knowledge
TABLE_AMBIENT_C = 30.0  # of the ampacities; source: 33 CFR 183.425
ENGINE_SPACE_C = 50.0  # the other temperature it has factors for; source: 33 CFR 183.425

# IEC 60228: mm² -> largest ohm/km at 20 °C of class 5 and 6, plain and tinned. 35, 120, 185 and
# 240 mm² are from general knowledge; the others stand alike in two public copies of the standard.
IEC_60228_FLEXIBLE = {
    0.5: (39.0, 40.1),
    0.75: (26.0, 26.7),
    1.0: (19.5, 20.0),
    1.5: (13.3, 13.7),
    2.5: (7.98, 8.21),
    4.0: (4.95, 5.09),
    6.0: (3.30, 3.39),
    10.0: (1.91, 1.95),
    16.0: (1.21, 1.24),
    25.0: (0.780, 0.795),
    35.0: (0.554, 0.565),
    50.0: (0.386, 0.393),
    70.0: (0.272, 0.277),
    95.0: (0.206, 0.210),
    120.0: (0.161, 0.164),
    150.0: (0.129, 0.132),
    185.0: (0.106, 0.108),
    240.0: (0.0801, 0.0817),
}

# Source: 33 CFR 183.425, Table 5, ampacities by insulation rating.
RATINGS_C = (60, 75, 80, 90, 105, 125, 200)
AMPACITY_A = {
    "18": (10, 10, 15, 20, 20, 25, 25),
    "16": (15, 15, 20, 25, 25, 30, 35),
    "14": (20, 20, 25, 30, 35, 40, 45),
    "12": (25, 25, 35, 40, 45, 50, 55),
    "10": (40, 40, 50, 55, 60, 70, 70),
    "8": (55, 65, 70, 70, 80, 90, 100),
    "6": (80, 95, 100, 100, 120, 125, 135),
    "4": (105, 125, 130, 135, 160, 170, 180),
    "3": (120, 145, 150, 155, 180, 195, 210),
    "2": (140, 170, 175, 180, 210, 225, 240),
    "1": (165, 195, 210, 210, 245, 265, 280),
    "1/0": (195, 230, 245, 245, 285, 305, 325),
    "2/0": (225, 265, 285, 285, 330, 355, 370),
    "3/0": (260, 310, 330, 330, 385, 410, 430),
    "4/0": (300, 360, 385, 385, 445, 475, 510),
}
# Insulation rating -> factor at 50 °C. 0.85 is published for 105 °C; the others are from general
# knowledge and agree with sqrt((rating - 50) / (rating - 30)) within 0.01.
ENGINE_SPACE_FACTOR = {60: 0.58, 75: 0.75, 80: 0.78, 90: 0.82, 105: 0.85, 125: 0.89}

# Conductors that carry current in one bundle, from this many on -> factor. From memory, no source
# at hand.
BUNDLE_FACTOR = {1: 1.0, 4: 0.70, 7: 0.60, 25: 0.50}
# mm² -> largest ohm/km at 20 °C of class 1 and 2 plain, class 2 tinned. IEC 60228.
IEC_60228_RIGID = {
    1.5: (12.1, 12.2),
    2.5: (7.41, 7.56),
    4.0: (4.61, 4.70),
    6.0: (3.08, 3.11),
    10.0: (1.83, 1.84),
    16.0: (1.15, 1.16),
    25.0: (0.727, 0.734),
    50.0: (0.387, 0.391),
    70.0: (0.268, 0.270),
    95.0: (0.193, 0.195),
    150.0: (0.124, 0.126),
}


def awg_number(awg: str) -> int:
    """ "2" -> 2, "1/0" -> 0, "4/0" -> -3."""
    return 1 - int(awg[0]) if awg.endswith("/0") else int(awg)


def awg_diameter_mm(awg: str) -> float:
    """Diameter of the solid wire. [mm] Source: ASTM B258."""
    return 0.127 * float(92.0 ** ((36 - awg_number(awg)) / 39))


def awg_area_mm2(awg: str) -> float:
    """Area of the solid wire. [mm²] Source: ASTM B258."""
    return math.pi / 4 * awg_diameter_mm(awg) ** 2


def area_mm2(cable: Cable) -> float:
    """Nominal copper area of a cable. [mm²]"""
    if cable.size_mm2 is not None:
        return cable.size_mm2
    return awg_area_mm2(cable.size_awg or "10")


def iec_ohm_per_m(size_mm2: float, tinned: bool, *, flexible: bool = True) -> float:
    """Largest resistance at 20 °C, of flexible cable (class 5 and 6) or of coarser. [ohm/m]

    Sizes between the standard's are interpolated in resistance times area.
    Source: IEC 60228.
    """
    table = IEC_60228_FLEXIBLE if flexible else IEC_60228_RIGID
    sizes = np.array(sorted(table))
    product = [table[s][tinned] * s for s in sizes]
    found = float(np.interp(math.log(size_mm2), np.log(sizes), product))
    return found / size_mm2 / 1000


def ohm_per_m_20c(cable: Cable) -> float:
    """Resistance of one metre at 20 °C, at most. [ohm/m]

    Metric sizes by IEC 60228; AWG sizes as solid copper of that area with 4 % for stranding and
    2 % for tin (common practice, no source).
    """
    if cable.size_mm2 is not None:
        return iec_ohm_per_m(cable.size_mm2, cable.tinned, flexible=cable.fine_stranded)
    allowance = 1.04 * (1.02 if cable.tinned else 1.0)
    return RHO_20C_OHM_MM2_M / area_mm2(cable) * allowance


def at_temp(r20_ohm: Numeric, temp_c: Numeric) -> Numeric:
    """A copper resistance at another temperature. Source: IEC 60028 (linear)."""
    return r20_ohm * (1 + ALPHA_20C * (temp_c - 20.0))


def drop_v(
    current_a: Numeric, length_m: float, r20_ohm_per_m: float, temp_c: float = 20.0
) -> Numeric:
    """Voltage lost in a length of copper; there and back is twice the way. [V]"""
    return current_a * length_m * at_temp(r20_ohm_per_m, temp_c)


def ampacity_table_a(awg: str, rating_c: float) -> float:
    """Printed ampacity at 30 °C of the next lower rating column. [A] Source: 33 CFR 183.425.

    Raises:
        KeyError: The table does not hold the size.
    """
    column = sum(1 for r in RATINGS_C if r <= rating_c) - 1
    return float(AMPACITY_A[awg][max(column, 0)])


@lru_cache
def ampacity_30c_a(cable: Cable) -> float:
    """Ampacity in the open at 30 °C. [A]

    Metric sizes are read between the table's AWG sizes, straight in the logarithms of area and
    current; sizes beyond the table's are clipped to its ends.
    """
    if cable.size_awg in AMPACITY_A:
        return ampacity_table_a(str(cable.size_awg), cable.insulation_rating_c)
    areas = np.log([awg_area_mm2(a) for a in AMPACITY_A])
    amps = np.log([ampacity_table_a(a, cable.insulation_rating_c) for a in AMPACITY_A])
    return float(np.exp(np.interp(math.log(area_mm2(cable)), areas, amps)))


def ambient_factor(rating_c: float, ambient_c: float) -> float:
    """What the 30 °C ampacity is multiplied by in another ambient; 0 at or above the rating.

    Heat goes with current squared and with the temperature difference. Never above 1: a cold
    place is no reason for a smaller cable. At 50 °C the published factor is used where there is
    one.
    """
    if ambient_c == ENGINE_SPACE_C and rating_c in ENGINE_SPACE_FACTOR:
        return ENGINE_SPACE_FACTOR[int(rating_c)]
    left = (rating_c - ambient_c) / (rating_c - TABLE_AMBIENT_C)
    return math.sqrt(min(max(left, 0.0), 1.0))


def place_c(cable: Cable) -> float:
    """Air around a cable that nobody measures: 50 °C in an engine space, else 30 °C. [°C]"""
    return ENGINE_SPACE_C if cable.in_engine_space else TABLE_AMBIENT_C


def ampacity_a(cable: Cable, ambient_c: float | None = None) -> float:
    """Ampacity with the derating of the place and of the bundle. [A]

    Args:
        ambient_c: Air around the cable; None: as `place_c` has it.
    """
    ambient_c = place_c(cable) if ambient_c is None else ambient_c
    place = ambient_factor(cable.insulation_rating_c, ambient_c)
    return ampacity_30c_a(cable) * place * bundle_factor(cable.conductors_in_bundle)


def bundle_factor(conductors: int) -> float:
    """What the ampacity is multiplied by where so many loaded conductors lie together."""
    return BUNDLE_FACTOR[max(n for n in BUNDLE_FACTOR if n <= conductors)]


def settled_rise_k(
    current_a: Numeric, ambient_c: Numeric, rated_a: float, rating_c: float
) -> Numeric:
    """Rise above ambient that a steady current ends in, by the rated point. [K]

    The rated current heats the cable from 30 °C to its rating; copper's resistance grows with
    temperature, so the law is a little steeper than a square. Infinite where it runs away.
    """
    rated_k = rating_c - TABLE_AMBIENT_C
    k = rated_k / rated_a**2 / (1 + ALPHA_20C * (rating_c - 20.0))
    heat_k = k * np.square(current_a)
    gain = heat_k * ALPHA_20C
    rise = heat_k * (1 + ALPHA_20C * (ambient_c - 20.0)) / np.maximum(1 - gain, 1e-9)
    return np.where(gain < 1, rise, np.inf)[()]
