"""Open-circuit voltage of the invented packs' lithium cells, from published half cells.

Graphite and nickel manganese cobalt oxide: multi-site multi-reaction model, site j filled to
X_j / (1 + exp(F (U - U_j) / (R T w_j))), constants of M. Verbrugge, D. Baker, B. Koch, X. Xiao,
W. Gu, J. Electrochem. Soc. 164 (2017) E3243 and D. Baker, M. Verbrugge, J. Electrochem. Soc. 165
(2018) A3952. Iron phosphate: fits of I. Thorat, T. Joshi, K. Zaghib, J. Harb, D. Wheeler,
J. Electrochem. Soc. 158 (2011) A1185, and M. Farkhondeh, M. Safari, M. Pritzker, M. Fowler,
T. Han, J. Wang, C. Delacourt, J. Electrochem. Soc. 161 (2014) A201, mean of charge and discharge.
Ageing: lithium is lost, so the graphite is filled less far at full and the positive electrode
less far at empty (degradation modes: M. Dubarry, C. Truchot, B. Liaw, J. Power Sources 219 (2012)
204).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

F_OVER_RT = 96485.33 / (8.314462 * 298.15)  # 1/V at 25 °C
TABLE_SOC = np.linspace(-0.03, 1.06, 2181)

# U_j [V], X_j, w_j
GRAPHITE = np.array(
    [
        [0.08843, 0.12799, 0.14331, 0.16984, 0.21446, 0.36325],
        [0.43336, 0.23963, 0.15018, 0.05462, 0.06744, 0.05476],
        [0.08611, 0.08009, 0.72469, 2.53277, 0.09470, 5.97354],
    ]
)
NMC = np.array(
    [
        [3.62274, 3.72645, 3.90575, 4.22955],
        [0.13442, 0.32460, 0.21118, 0.32980],
        [0.96710, 1.39712, 3.50500, 5.52757],
    ]
)


def filled(volts: Floats, sites: Floats) -> Floats:
    """Share of an electrode that is filled with lithium at a potential. Same shape as `volts`."""
    level, share, width = sites
    power = np.clip(F_OVER_RT * (volts[..., None] - level) / width, -600.0, 600.0)
    return np.asarray((share / (1 + np.exp(power))).sum(axis=-1))


@lru_cache(maxsize=4)
def _table(name: str) -> tuple[Floats, Floats]:
    """Filling, rising, and potential at it. [V]"""
    sites, ends = {"graphite": (GRAPHITE, (0.0, 1.6)), "nmc": (NMC, (2.2, 5.4))}[name]
    volts = np.linspace(*ends, 6401)
    return filled(volts, sites)[::-1], volts[::-1]


def graphite_v(x: Floats) -> Floats:
    """Graphite against lithium; x: filled with lithium, 0 to 1. [V]"""
    return np.asarray(np.interp(x, *_table("graphite")))


def nmc_v(y: Floats) -> Floats:
    """Nickel manganese cobalt oxide against lithium. [V]"""
    return np.asarray(np.interp(y, *_table("nmc")))


def lfp_thorat_v(y: Floats) -> Floats:
    """Iron phosphate against lithium, fit of 2011. [V]"""
    return np.asarray(
        2.567462
        + 57.69 * (1 - np.tanh(100 * y + 2.9163927))
        + 0.442953 * np.arctan(-65.41928 * y + 64.89741)
        + 0.097237 * np.arctan(-160.9058 * y + 154.59)
    )


def lfp_farkhondeh_v(y: Floats) -> Floats:
    """Iron phosphate against lithium, mean of charge and discharge, fits of 2014. [V]"""
    charge = (
        3.451
        - 8.8e-3 * y
        + 0.6678 * np.exp(-81.002 * y**1.1776)
        + 2.3738e-9 * np.exp(25.222 * y**3.4801)
        - 2.6367e-9 * np.exp(25.12 * y**3.4879)
    )
    discharge = (
        3.4227
        - 2.0269e-2 * y
        + 0.5087 * np.exp(-81.163 * y**1.0138)
        + 7.6445e-8 * np.exp(25.361 * y**3.2983)
        - 8.441e-8 * np.exp(25.262 * y**3.3111)
    )
    return np.asarray(0.5 * (charge + discharge))


@dataclass(frozen=True)
class Balance:
    """Which part of each electrode a cell uses, new; `lost_frac` of that is lost by ageing.

    positive: "lfp" or "nmc". thorat_frac: of the iron phosphate's two fits, the share of the first.
    """

    positive: str
    x_empty: float
    x_full: float
    y_empty: float
    y_full: float
    thorat_frac: float = 0.5
    lost_frac: float = 0.0

    def ocv_v(self, soc: Floats) -> Floats:
        """Voltage at rest without hysteresis. [V] same shape as `soc`"""
        left = 1 - self.lost_frac
        x = self.x_empty + soc * left * (self.x_full - self.x_empty)
        y = self.y_full + (1 - soc) * left * (self.y_empty - self.y_full)
        y = np.clip(y, 1e-4, 0.9999)
        if self.positive == "nmc":
            positive = nmc_v(y)
        else:
            share = self.thorat_frac
            positive = share * lfp_thorat_v(y) + (1 - share) * lfp_farkhondeh_v(y)
        return np.asarray(positive - graphite_v(np.clip(x, 1e-3, 0.99)))
