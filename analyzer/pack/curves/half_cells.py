"""Open-circuit voltage curves from published half-cell fits, one function per electrode."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


Steps = tuple[tuple[float, float, float], ...]  # height [V], place, width


def _falls_v(x: Floats, steps: Steps) -> Floats:
    """Sum of falls, height · tanh((x - place) / width), one of each phase of the electrode. [V]"""
    falls = np.zeros_like(x, dtype=float)
    for height_v, place, width in steps:
        falls += height_v * np.tanh((x - place) / width)
    return falls


def lfp_electrode_v(y: Floats) -> Floats:
    """LiFePO4 against lithium at stoichiometry `y` in Li_y FePO4. [V] same shape.

    Source: M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562, Table I.
    """
    free = 1.0 - y
    full = 0.8428 * np.exp(-80.2493 * free**1.3198)
    # two terms that nearly cancel: they differ only where the electrode is empty
    empty = 3.2482e-6 * np.exp(20.2646 * free**3.7995)
    empty -= 3.2474e-6 * np.exp(20.2645 * free**3.8003)
    return np.asarray(3.4323 - full + empty)


GRAPHITE_2011: Steps = (  # Safari and Delacourt 2011
    (0.044, 0.1958, 0.1088),
    (0.1978, 1.0571, 0.0854),
    (0.6875, -0.0117, 0.0529),
    (0.0175, 0.5692, 0.0875),
)


def graphite_v(x: Floats) -> Floats:
    """Graphite against lithium at stoichiometry `x` in Li_x C6. [V] same shape.

    Source: M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562, Table I.
    """
    return np.asarray(0.6379 + 0.5416 * np.exp(-305.5309 * x) - _falls_v(x, GRAPHITE_2011))


def lfp_electrode_2017_v(y: Floats) -> Floats:
    """LiFePO4 against lithium, a second published fit. [V] same shape.

    Source: S. Afshar et al. 2017, arXiv 1709.03970.
    """
    rise = 0.5 * np.exp(-150 * y)
    fall = 0.9 * np.exp(-30 * (1 - y))
    return np.asarray(3.4077 - 0.020269 * y + rise - fall)


# Graphite's filling in a full cell: from an aged one or one with ample graphite to Safari and
# Delacourt's 0.78 and a little more (0.81 in Prada 2012).
FULL_X = (0.70, 0.76, 0.82)


def lfp_cells_v(soc: Floats) -> Floats:
    """LiFePO4-graphite cells at rest, 25 °C, midway between charge and discharge. (6, n) [V]

    Two published graphite fits, each at three fillings of a full cell, against the mean of two
    published LiFePO4 fits, which agree on the plateau and differ at the ends (`lfp_spread_v`).
    Empty is where each graphite's authors have it; the LiFePO4 window 0.95 to 0.03
    puts 0 % near 2.5 V and 100 % between 3.36 and 3.52 V.
    """
    electrode = 0.5 * np.sum(_lfp_fits_v(soc), axis=0)
    fits = ((graphite_v, 0.0085), (graphite_2020_v, 0.0015))
    cells = []
    for fit, empty_x in fits:
        for full_x in FULL_X:
            filling = _filling(empty_x, full_x, soc)
            cells.append(electrode - fit(filling))
    return np.array(cells)


def _lfp_fits_v(soc: Floats) -> tuple[Floats, Floats]:
    """Both LiFePO4 fits along a full cell's charge, at the level of the first. [V] (n,) each"""
    y = 0.95 - 0.92 * soc
    # The fits' levels differ by 34 mV: a whole curve's shift, which is a state of its own.
    middle = np.array(0.5)
    level = lfp_electrode_v(middle) - lfp_electrode_2017_v(middle)
    return lfp_electrode_v(y), lfp_electrode_2017_v(y) + level


def lfp_cell_v(soc: Floats) -> Floats:
    """The mean of `lfp_cells_v`. [V] same shape."""
    return np.asarray(lfp_cells_v(soc).mean(axis=0))


def lfp_spread_v(soc: Floats) -> Floats:
    """Half the distance between the two fits of `lfp_cell_v`, levels made equal, signed. [V]"""
    first, second = _lfp_fits_v(soc)
    return np.asarray(0.5 * (first - second))


# Chen et al. 2020, who print the inverse of the widths; as cited below.
NICKEL_2020: Steps = (
    (0.0428, 0.5542, 1 / 18.5138),
    (17.7326, 0.3117, 1 / 15.7890),
    (-17.5842, 0.3120, 1 / 15.9308),
)
SILICON_2020: Steps = (
    (0.0909, 0.1234, 1 / 29.8538),
    (0.04478, 0.2769, 1 / 14.9159),
    (0.0205, 0.6103, 1 / 30.4444),
)


def nmc_electrode_v(y: Floats) -> Floats:
    """Nickel-manganese-cobalt oxide against lithium. [V] same shape.

    Source: C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534.
    """
    return np.asarray(4.4875 - 0.8090 * y - _falls_v(y, NICKEL_2020))


def graphite_silicon_v(x: Floats) -> Floats:
    """Graphite with some silicon oxide against lithium. [V] same shape.

    Source: C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534.
    """
    return np.asarray(0.2482 + 1.9793 * np.exp(-39.3631 * x) - _falls_v(x, SILICON_2020))


def nmc532_electrode_v(y: Floats) -> Floats:
    """Nickel-manganese-cobalt oxide 5:3:2 against lithium. [V] same shape.

    Source: P. Mohtat et al., J. Electrochem. Soc. 167 (2020) 110561.
    """
    rise = np.polyval((-2.2166, 3.5146, -2.0843, 1.6225, -1.6518, 4.3452), y)
    return np.asarray(rise - 0.5623e-4 * np.exp(109.451 * y - 100.006))


GRAPHITE_2020: Steps = (  # Mohtat et al. 2020
    (0.0120, 0.127, 0.016),
    (0.0118, 0.155, 0.016),
    (0.0035, 0.220, 0.020),
    (0.0095, 0.190, 0.013),
    (0.0145, 0.490, 0.020),
    (0.0800, 1.030, 0.055),
)


def graphite_2020_v(x: Floats) -> Floats:
    """Graphite against lithium, as measured with the oxide above. [V] same shape.

    Source: P. Mohtat et al., J. Electrochem. Soc. 167 (2020) 110561.
    """
    nearly_empty = 0.8 * np.exp(-75 * (x + 0.001))
    return np.asarray(0.063 + nearly_empty - _falls_v(x, GRAPHITE_2020))


# Colclasure et al. 2020, a rise as a fall of negative height; as cited below.
GRAPHITE_FAST: Steps = (
    (0.01059423355572770, 0.01453708425609560, 9.089868397988610e-5),
    (-0.02443615203087110, 0.5464261369950400, 0.6270508166379020),
    (0.01637520788053810, 0.5639025014475490, 0.07053886409518520),
    (0.06542365622896410, 0.5960370524233590, 1.409966536648620),
    (0.04173226059293490, 0.1787670587868640, 0.07693844911793470),
    (0.4792178163846890, -3.845707852011820e-3, 0.04112633446959460),
    (0.04364293924074990, 0.09449231893318330, -0.02046776012570780),
    (0.08241166396760410, 0.07746685789572230, 0.03593817905677970),
)


def graphite_fast_v(x: Floats) -> Floats:
    """Graphite against lithium, a third published fit, for fillings up to 0.95. [V] same shape.

    Source: A. Colclasure et al., Electrochim. Acta 337 (2020) 135854.
    """
    return np.asarray(0.6594735004847470 - _falls_v(x, GRAPHITE_FAST))


def _filling(empty: float, full: float, soc: Floats) -> Floats:
    """Stoichiometry along a cell's charge: linear, as charge is counted."""
    return np.asarray(empty + (full - empty) * soc)


def _nmc811_v(soc: Floats) -> Floats:
    """Windows: those at which the two fits of Chen et al. give 2.5 V and 4.2 V."""
    oxide = nmc_electrode_v(_filling(0.8540, 0.2638, soc))
    return oxide - graphite_silicon_v(_filling(0.0263, 0.9106, soc))


def _nmc532_v(soc: Floats) -> Floats:
    """Windows: those at which the two fits of Mohtat et al. give 2.8 V and 4.2 V."""
    oxide = nmc532_electrode_v(_filling(0.8909, 0.0335, soc))
    return oxide - graphite_2020_v(_filling(0.0015, 0.8334, soc))


def nmc_cell_v(soc: Floats) -> Floats:
    """NMC cell at rest, 25 °C: the mean of a cell rich in nickel and one that is not. [V]"""
    return np.asarray(0.5 * (_nmc811_v(soc) + _nmc532_v(soc)))


def nmc_spread_v(soc: Floats) -> Floats:
    """Half the distance between the two cells of `nmc_cell_v`, signed. [V]"""
    return np.asarray(0.5 * (_nmc811_v(soc) - _nmc532_v(soc)))
