"""Open-circuit voltage curves from published half-cell fits, one function per electrode."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def lfp_electrode_v(y: Floats) -> Floats:
    """LiFePO4 against lithium at stoichiometry `y` in Li_y FePO4. [V] same shape.

    Source: M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562, Table I.
    """
    free = 1.0 - y
    return np.asarray(
        3.4323
        - 0.8428 * np.exp(-80.2493 * free**1.3198)
        - 3.2474e-6 * np.exp(20.2645 * free**3.8003)
        + 3.2482e-6 * np.exp(20.2646 * free**3.7995)
    )


def graphite_v(x: Floats) -> Floats:
    """Graphite against lithium at stoichiometry `x` in Li_x C6. [V] same shape.

    Source: M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562, Table I.
    """
    return np.asarray(
        0.6379
        + 0.5416 * np.exp(-305.5309 * x)
        + 0.044 * np.tanh(-(x - 0.1958) / 0.1088)
        - 0.1978 * np.tanh((x - 1.0571) / 0.0854)
        - 0.6875 * np.tanh((x + 0.0117) / 0.0529)
        - 0.0175 * np.tanh((x - 0.5692) / 0.0875)
    )


def lfp_electrode_2017_v(y: Floats) -> Floats:
    """LiFePO4 against lithium, a second published fit. [V] same shape.

    Source: S. Afshar et al. 2017, arXiv 1709.03970.
    """
    return np.asarray(3.4077 - 0.020269 * y + 0.5 * np.exp(-150 * y) - 0.9 * np.exp(-30 * (1 - y)))


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
    y = 0.95 - 0.92 * soc
    # The fits' levels differ by 34 mV: a whole curve's shift, taken from the first.
    level = lfp_electrode_v(np.array(0.5)) - lfp_electrode_2017_v(np.array(0.5))
    electrode = 0.5 * (lfp_electrode_v(y) + lfp_electrode_2017_v(y) + level)
    fits = ((graphite_v, 0.0085), (graphite_2020_v, 0.0015))
    return np.array(
        [
            electrode - fit(empty_x + (full_x - empty_x) * soc)
            for fit, empty_x in fits
            for full_x in FULL_X
        ]
    )


def lfp_cell_v(soc: Floats) -> Floats:
    """The mean of `lfp_cells_v`. [V] same shape."""
    return np.asarray(lfp_cells_v(soc).mean(axis=0))


def lfp_spread_v(soc: Floats) -> Floats:
    """Half the distance between the two fits of `lfp_cell_v`, levels made equal, signed. [V]"""
    y = 0.95 - 0.92 * soc
    level = lfp_electrode_v(np.array(0.5)) - lfp_electrode_2017_v(np.array(0.5))
    return np.asarray(0.5 * (lfp_electrode_v(y) - lfp_electrode_2017_v(y) - level))


def nmc_electrode_v(y: Floats) -> Floats:
    """Nickel-manganese-cobalt oxide against lithium. [V] same shape.

    Source: C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534.
    """
    return np.asarray(
        4.4875
        - 0.8090 * y
        - 0.0428 * np.tanh(18.5138 * (y - 0.5542))
        - 17.7326 * np.tanh(15.7890 * (y - 0.3117))
        + 17.5842 * np.tanh(15.9308 * (y - 0.3120))
    )


def graphite_silicon_v(x: Floats) -> Floats:
    """Graphite with some silicon oxide against lithium. [V] same shape.

    Source: C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534.
    """
    return np.asarray(
        1.9793 * np.exp(-39.3631 * x)
        + 0.2482
        - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
        - 0.04478 * np.tanh(14.9159 * (x - 0.2769))
        - 0.0205 * np.tanh(30.4444 * (x - 0.6103))
    )


def nmc532_electrode_v(y: Floats) -> Floats:
    """Nickel-manganese-cobalt oxide 5:3:2 against lithium. [V] same shape.

    Source: P. Mohtat et al., J. Electrochem. Soc. 167 (2020) 110561.
    """
    rise = 4.3452 + y * (-1.6518 + y * (1.6225 + y * (-2.0843 + y * (3.5146 - 2.2166 * y))))
    return np.asarray(rise - 0.5623e-4 * np.exp(109.451 * y - 100.006))


def graphite_2020_v(x: Floats) -> Floats:
    """Graphite against lithium, as measured with the oxide above. [V] same shape.

    Source: P. Mohtat et al., J. Electrochem. Soc. 167 (2020) 110561.
    """
    steps = ((0.0120, 0.127, 0.016), (0.0118, 0.155, 0.016), (0.0035, 0.220, 0.020),
             (0.0095, 0.190, 0.013), (0.0145, 0.490, 0.020), (0.0800, 1.030, 0.055))  # fmt: skip
    falls = sum(v * np.tanh((x - at) / wide) for v, at, wide in steps)
    return np.asarray(0.063 + 0.8 * np.exp(-75 * (x + 0.001)) - falls)


def _nmc811_v(soc: Floats) -> Floats:
    """Windows: those at which the two fits of Chen et al. give 2.5 V and 4.2 V."""
    oxide = nmc_electrode_v(0.8540 - (0.8540 - 0.2638) * soc)
    return oxide - graphite_silicon_v(0.0263 + (0.9106 - 0.0263) * soc)


def _nmc532_v(soc: Floats) -> Floats:
    """Windows: those at which the two fits of Mohtat et al. give 2.8 V and 4.2 V."""
    oxide = nmc532_electrode_v(0.8909 - (0.8909 - 0.0335) * soc)
    return oxide - graphite_2020_v(0.0015 + (0.8334 - 0.0015) * soc)


def nmc_cell_v(soc: Floats) -> Floats:
    """NMC cell at rest, 25 °C: the mean of a cell rich in nickel and one that is not. [V]"""
    return np.asarray(0.5 * (_nmc811_v(soc) + _nmc532_v(soc)))


def nmc_spread_v(soc: Floats) -> Floats:
    """Half the distance between the two cells of `nmc_cell_v`, signed. [V]"""
    return np.asarray(0.5 * (_nmc811_v(soc) - _nmc532_v(soc)))
