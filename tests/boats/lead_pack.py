"""An invented lead-acid pack: blocks in series whose acid must diffuse into the plates.

One acid profile a block: two slices in the plates' pores, where the reaction takes or gives one
mole of acid for each faraday, and slices of free acid behind them (one-dimensional diffusion; a
porous electrode in its simplest form, after V. Sulzer, S. J. Chapman, C. P. Please, D. A. Howey,
C. W. Monroe, J. Electrochem. Soc. 166 (2019) A2363). Rest voltage by the acid's molality (H. Bode,
"Lead-Acid Batteries", Wiley 1977), conductivity of the acid by W. B. Gu, C. Y. Wang, B. Y. Liaw,
J. Electrochem. Soc. 144 (1997) 2053; charge transfer (2 R T / F) asinh(I / 2 I0) with I0 falling
as acid and active mass are used up, on charge as lead sulphate is. Gassing beside the charge:
J. Schiffer, D. U. Sauer, H. Bindner, T. Cronin, P. Lundsager, R. Kaiser, J. Power Sources 168
(2007) 66, I = I_100 C / 100 exp(11 (U - 2.23) + 0.06 (T - 20)), per cell. Capacity falls with the
current because the pores run dry of acid; nothing here knows an exponent. Shapes: (blocks,).
"""

import copy
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

MOL_PER_AH = 3600 / 96485.33
WATER_M3_MOL, ACID_M3_MOL, WATER_KG_MOL = 17.5e-6, 45e-6, 0.018
GAS_PER_V, GAS_PER_K, GAS_AT_V, GAS_AT_C = 11.0, 0.06, 2.23, 20.0
CELLS = 6  # in a block
TAKE_FRAC = (
    0.015  # charge transfer on charge: current falls over two to four hours at 2.4 V, assumed
)
SPLIT_V = 1.48  # of each cell's voltage leaves with the gas instead of as heat (water's enthalpy)
DAMP = 0.5  # of the point about which the curves are taken as straight
ROOM_FRAC = 0.004  # of the capacity: the last of the charge
MOST_MOL_L = 15.0  # where the formulas are no longer asked; after a limit alone
SUBSTEP_S = 8.0  # of the diffusion, stable for all packs here
PORES = 2  # slices of the profile that lie in the plates
RATED_H, RATED_V = 20.0, 1.75  # what the label's capacity means, per cell
WARM_DIFFUSION, WARM_TRANSFER = 0.02, 0.03  # per kelvin, assumed
THERMAL_V = 2 * 8.314462 * 298.15 / 96485.33


def rest_cell_v(acid_mol_l: Floats) -> Floats:
    """Voltage of a cell at rest by its acid (Bode 1977). [V] same shape"""
    c = 1000 * np.clip(acid_mol_l, 1e-3, MOST_MOL_L)
    x = np.log10(c * WATER_M3_MOL / ((1 - c * ACID_M3_MOL) * WATER_KG_MOL))
    positive = 1.628 + 0.074 * x + 0.033 * x**2 + 0.043 * x**3 + 0.022 * x**4
    negative = -0.294 - 0.074 * x - 0.030 * x**2 - 0.031 * x**3 - 0.012 * x**4
    return np.asarray(positive - negative)


def conductivity_s_m(acid_mol_l: Floats) -> Floats:
    """Of the acid (Gu, Wang and Liaw 1997). [S/m] same shape"""
    c = 1000 * np.clip(acid_mol_l, 1e-3, MOST_MOL_L)
    return np.asarray(c * np.exp(6.23 - 1.34e-4 * c - 1.61e-8 * c**2) * 1e-4)


@dataclass(frozen=True)
class LeadCells:
    """Fixed properties. Arrays have shape (blocks,).

    Args:
        capacity_ah: At the 20 h rate to 1.75 V a cell, new acid, 25 °C.
        full_mol_l: Acid when full. acid_l_ah: all of it, for each Ah of `size_ah`.
        pore_frac: Share of the acid in the plates. diffusion_s: time to diffuse through all.
        active_frac: Active mass over `size_ah`. exchange_c: charge transfer's, the same. [1/h]
        ohm_ah: Ohmic, of a cell of 1 Ah with full acid. gas_a_100ah: at 2.23 V and 20 °C.
        size_ah: What the above scale with; `fitted` finds it for the capacity.
        more_ohm: Factor on the ohmic resistance, of each block or all.
    """

    capacity_ah: Floats
    full_mol_l: float
    acid_l_ah: float
    pore_frac: float
    diffusion_s: float
    active_frac: float
    exchange_c: float
    ohm_ah: float
    gas_a_100ah: float
    heat_j_k: float
    loss_w_k: float
    link_ohm: float
    size_ah: Floats
    slices: int = 6
    more_ohm: Floats | float = 1.0

    def scaled(self, resistance: Floats, capacity: Floats) -> "LeadCells":
        """These blocks with factors on resistance and capacity, shape (blocks,) each."""
        size, whole = self.size_ah * capacity, self.capacity_ah * capacity
        return replace(self, size_ah=size, capacity_ah=whole, more_ohm=resistance)

    def pack(self, soc: Floats, temp_c: float) -> "LeadPack":
        """The pack at rest."""
        return LeadPack(self, soc, temp_c)


def fitted(cells: LeadCells) -> LeadCells:
    """The same blocks with the size that gives `capacity_ah` at the 20 h rate, by trying it."""
    one = np.ones(1)
    trial = replace(cells, capacity_ah=one, size_ah=one, more_ohm=1.0)
    given = 1.3
    for _ in range(2):  # the 20 h current follows the capacity, which hardly follows it
        given = discharge_ah(trial, given / RATED_H)
    return replace(cells, size_ah=cells.capacity_ah / given)


def discharge_ah(cells: LeadCells, current_a: float, dt_s: float = 60.0) -> float:
    """What a block gives at a held current from full to 1.75 V a cell at 25 °C. [Ah]"""
    pack = LeadPack(cells, np.ones(len(cells.size_ah)), 25.0)
    for k in range(int(1.5 * 3600 * float(cells.size_ah[0]) / current_a / dt_s)):
        volts, ohm = pack.source()
        if float((volts - current_a * ohm).min()) < CELLS * RATED_V:
            return k * dt_s * current_a / 3600
        pack.step(current_a, dt_s)
    raise ValueError("the block never came to its cut-off")


class LeadPack:
    """A pack's state, stepped in time; see `battery.Battery`, whose calls it has."""

    def __init__(self, cells: LeadCells, soc: Floats, temp_c: float) -> None:
        self.cells = cells
        self.used_ah = (1 - np.asarray(soc, dtype=float)) * cells.capacity_ah
        self.temp_c = np.full_like(self.used_ah, temp_c)
        n = cells.slices
        share = np.full(n, (1 - cells.pore_frac) / (n - PORES))
        share[:PORES] = cells.pore_frac / PORES
        self._litres = share[:, None] * cells.acid_l_ah * cells.size_ah
        mean = cells.full_mol_l - self.used_ah * MOL_PER_AH / self._litres.sum(axis=0)
        self.acid = np.repeat(mean[None, :], n, axis=0)
        self.volts = CELLS * rest_cell_v(mean)
        self.current_a = 0.0
        self.gas_a = np.zeros_like(mean)
        self._about_v, self._about_a = self.volts, np.zeros_like(mean)
        self.refresh(0.0, 0.0, temp_c)

    @property
    def soc(self) -> Floats:
        """Charge left over the block's own 20 h capacity. Shape (blocks,)"""
        return np.asarray(1 - self.used_ah / self.cells.capacity_ah)

    def copy(self) -> "LeadPack":
        """The same state."""
        return copy.deepcopy(self)

    def refresh(self, heat_j: float, passed_s: float, air_c: float) -> None:
        """Warms the blocks by what each made since the last time."""
        c = self.cells
        cool = c.loss_w_k * (self.temp_c - air_c) + CELLS * SPLIT_V * self.gas_a
        self.temp_c = self.temp_c + (heat_j - cool * passed_s) / c.heat_j_k
        # Conductance between slices: `diffusion_s` is the time for all acid over n^2 of it.
        warm = np.exp(WARM_DIFFUSION * (self.temp_c - 25))
        self._flow_l_s = self._litres.sum(axis=0) * c.slices / c.diffusion_s * warm
        self._exchange_a = c.exchange_c * c.size_ah * np.exp(WARM_TRANSFER * (self.temp_c - 25))
        self._gas_full_a = c.gas_a_100ah * c.size_ah / 100
        self._gas_full_a = self._gas_full_a * np.exp(GAS_PER_K * (self.temp_c - GAS_AT_C))
        self._set_ohm()

    def _set_ohm(self) -> None:
        c = self.cells
        acid = self.acid[:PORES].mean(axis=0)
        thin = conductivity_s_m(np.array(c.full_mol_l)) / conductivity_s_m(acid)
        cold = np.exp(-0.015 * (self.temp_c - 25))  # conductivity of acid, assumed
        self.r_ohm = CELLS * c.ohm_ah / c.size_ah * (0.5 + 0.5 * thin) * cold * c.more_ohm
        left = np.maximum(1 - self.used_ah / (c.active_frac * c.size_ah), 0.01)
        give = self._exchange_a * np.maximum(acid / c.full_mol_l, 1e-3) * np.sqrt(left)
        sulphate = np.maximum(self.used_ah / (c.active_frac * c.size_ah), 0.0)
        take = self._exchange_a * (1e-5 + TAKE_FRAC * sulphate)
        self._now_a = give if self.current_a >= 0 else take
        self.whole_ohm = float((self.r_ohm + CELLS * THERMAL_V / self._now_a).sum()) + c.link_ohm

    def source(self) -> tuple[Floats, Floats]:
        """Each block as a voltage and a resistance now: volts = e - current r.

        Charge transfer and gassing are taken as their tangents near the last current and voltage.
        """
        self._set_ohm()
        main_a = self._about_a
        bent = main_a / (2 * self._now_a)
        slope = CELLS * THERMAL_V / (2 * self._now_a * np.sqrt(1 + bent * bent))
        over = CELLS * THERMAL_V * np.arcsinh(bent)
        e = CELLS * rest_cell_v(self.acid[:PORES].mean(axis=0)) - over + slope * main_a
        r = self.r_ohm + slope
        gas = self._gas_full_a * np.exp(
            np.minimum(GAS_PER_V * (self._about_v / CELLS - GAS_AT_V), 5.0)
        )
        steep = GAS_PER_V / CELLS * gas
        self._gas, self._steep = gas, steep
        whole = 1 / r + steep
        self.rest_v = CELLS * rest_cell_v((self.acid * self._litres).sum(0) / self._litres.sum(0))
        self._e, self._r = (e / r - gas + steep * self._about_v) / whole, 1 / whole
        self.whole_ohm = float(self._r.sum()) + self.cells.link_ohm
        return self._e, self._r

    def step(self, current_a: float, dt_s: float) -> None:
        """Moves on with a current held, positive out of the pack; `source` came before."""
        volts = self._e - current_a * self._r
        self.gas_a = np.maximum(self._gas + self._steep * (volts - self._about_v), 0.0)
        self.volts, self.current_a = volts, current_a
        self._about_v = DAMP * self._about_v + (1 - DAMP) * volts
        self._about_a = DAMP * self._about_a + (1 - DAMP) * (current_a + self.gas_a)
        for _ in range(parts := max(int(dt_s / SUBSTEP_S + 0.999), 1)):
            self._diffuse(current_a + self.gas_a, dt_s / parts)

    def _diffuse(self, main_a: Floats, dt_s: float) -> None:
        # What a full block takes in goes into gas alone, whatever the charge transfer would carry.
        room = np.clip(self.used_ah / (ROOM_FRAC * self.cells.capacity_ah), 0.0, 1.0)
        main_a = np.where(main_a < 0, main_a * room, main_a)
        flow = self._flow_l_s * np.diff(self.acid, axis=0) * dt_s  # mol, towards the plates
        mol = np.zeros_like(self.acid)
        mol[:-1] += flow
        mol[1:] -= flow
        there = np.maximum(self.acid[:PORES] * self._litres[:PORES], 1e-9)
        share = there / there.sum(axis=0) if float(main_a.mean()) > 0 else 1 / PORES
        mol[:PORES] -= MOL_PER_AH * main_a * dt_s / 3600 * share
        self.acid = np.maximum(self.acid + mol / self._litres, 1e-3)
        self.used_ah = self.used_ah + main_a * dt_s / 3600
