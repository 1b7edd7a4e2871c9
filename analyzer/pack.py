"""The pack's cells as numbers: chemistry, open-circuit voltage, equivalent circuit.

A chemistry is data. Everything is per cell; a pack is `cells_in_series` of them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analyzer.ocv import lead_acid_cell_v, lfp_cell_v, nmc_cell_v
from logger.boat import Pack
from logger.units import ZERO_C_IN_K

Floats = npt.NDArray[np.float64]
Numeric = float | Floats

GAS_J_PER_MOL_K = 8.314462618  # CODATA 2018
REFERENCE_C = 25.0


@dataclass(frozen=True)
class Chemistry:
    """One kind of cell. Voltages are per cell, at rest unless a name says otherwise.

    Args:
        soc, mean_v: The open-circuit curve at 25 °C, between charge and discharge, shape (n,).
        half_gap_v: Half the gap between the charge and the discharge curve.
        gap_soc_frac: Charge moved, as a share of capacity, that wipes out 63 % of the way
            from one curve to the other.
        gap_activation_j: How the gap grows in the cold, as an Arrhenius energy. [J/mol]
        entropy_v_per_k: Change of the whole curve with temperature.
        curve_sd_v: How far a cell of this chemistry may lie off the curve as a whole.
        shape_sd_v, shape_soc: How far the curve's shape may be off, and over what charge.
        r0_ohm_ah, r1_ohm_ah, r2_ohm_ah: Resistance times capacity at 25 °C, mid charge.
        tau1_s, tau2_s: Time constants.
        ohmic_activation_j, charge_activation_j: Of r0, and of r1 and r2. [J/mol]
        cutoff_v, full_v: Under load; on charge.
        full_tail_c: Current below which a charge held at full_v is full, as a share of Ah.
        charge_efficiency: Charge that comes back out per charge put in.
        no_charge_below_c: Below this the cell must not be charged; None: no such limit.
    """

    name: str
    soc: Floats
    mean_v: Floats
    half_gap_v: float
    gap_soc_frac: float
    gap_activation_j: float
    entropy_v_per_k: float
    curve_sd_v: float
    shape_sd_v: float
    shape_soc: float
    r0_ohm_ah: float
    r1_ohm_ah: float
    r2_ohm_ah: float
    tau1_s: float
    tau2_s: float
    ohmic_activation_j: float
    charge_activation_j: float
    cutoff_v: float
    full_v: float
    full_tail_c: float
    charge_efficiency: float
    no_charge_below_c: float | None
    source: str

    def ocv_v(self, soc: Numeric, temp_c: Numeric = 25.0, hysteresis: Numeric = 0.0) -> Floats:
        """Voltage at rest.

        Args:
            soc: 0 to 1; outside, the end value. [frac] scalar or shape (n,)
            temp_c: [°C] scalar or shape (n,)
            hysteresis: -1 after long discharge, 0 midway, 1 after long charge.
        Returns:
            [V] broadcast shape; NaN where an input is NaN.
        """
        mean = np.interp(soc, self.soc, self.mean_v)
        shift = self.entropy_v_per_k * (np.asarray(temp_c) - REFERENCE_C)
        return np.asarray(mean + shift + self.gap_v(temp_c) * np.asarray(hysteresis))

    def docv_dsoc(self, soc: Numeric) -> Floats:
        """Slope of the mean curve, over a window of one table step. [V per unit of charge]"""
        step = 0.005
        high = np.interp(np.asarray(soc) + step, self.soc, self.mean_v)
        low = np.interp(np.asarray(soc) - step, self.soc, self.mean_v)
        wide = np.minimum(np.asarray(soc) + step, 1.0) - np.maximum(np.asarray(soc) - step, 0.0)
        return np.asarray((high - low) / np.maximum(wide, step))

    def soc_at(self, rest_v: Numeric, temp_c: Numeric = 25.0, hysteresis: Numeric = 0.0) -> Floats:
        """Charge at a rest voltage; on a flat curve a poor guess. [frac] broadcast shape."""
        shift = self.entropy_v_per_k * (np.asarray(temp_c) - REFERENCE_C)
        mean = np.asarray(rest_v) - shift - self.gap_v(temp_c) * np.asarray(hysteresis)
        return np.asarray(np.interp(mean, np.maximum.accumulate(self.mean_v), self.soc))

    def gap_v(self, temp_c: Numeric = 25.0) -> Floats:
        """Half the gap between charge and discharge curve. [V]"""
        return self.half_gap_v * arrhenius(temp_c, self.gap_activation_j)

    def ohmic_factor(self, temp_c: Numeric) -> Floats:
        """Ohmic resistance over that at 25 °C."""
        return arrhenius(temp_c, self.ohmic_activation_j)

    def charge_factor(self, temp_c: Numeric) -> Floats:
        """Charge-transfer and diffusion resistance over that at 25 °C."""
        return arrhenius(temp_c, self.charge_activation_j)


def arrhenius(temp_c: Numeric, energy_j: float) -> Floats:
    """Factor on a value known at 25 °C, exp(E/R (1/T - 1/298.15)). Broadcast shape.

    Args:
        temp_c: [°C] scalar or shape (n,); held within -40 to 80 °C.
        energy_j: Activation energy. [J/mol]
    """
    kelvin = np.clip(np.asarray(temp_c, float), -40.0, 80.0) + ZERO_C_IN_K
    return np.asarray(
        np.exp(energy_j / GAS_J_PER_MOL_K * (1.0 / kelvin - 1.0 / (REFERENCE_C + ZERO_C_IN_K)))
    )


@dataclass(frozen=True)
class CellParams:
    """Equivalent circuit of the mean cell at 25 °C: one resistor, two resistor-capacitor pairs."""

    r0_ohm: float
    r1_ohm: float
    tau1_s: float
    r2_ohm: float
    tau2_s: float
    capacity_ah: float


def _table(curve: Callable[[Floats], Floats]) -> tuple[Floats, Floats]:
    soc = np.linspace(0.0, 1.0, 401)
    return soc, curve(soc)


def _lfp() -> Chemistry:
    soc, mean_v = _table(lfp_cell_v)
    return Chemistry(
        name="lfp", soc=soc, mean_v=mean_v, half_gap_v=0.012, gap_soc_frac=0.04,
        gap_activation_j=8e3, entropy_v_per_k=0.0, curve_sd_v=0.015, shape_sd_v=0.008,
        shape_soc=0.15, r0_ohm_ah=0.065, r1_ohm_ah=0.035, r2_ohm_ah=0.045, tau1_s=20.0,
        tau2_s=600.0, ohmic_activation_j=15e3, charge_activation_j=35e3, cutoff_v=2.5,
        full_v=3.55, full_tail_c=0.05, charge_efficiency=0.998, no_charge_below_c=0.0,
        source=(
            "curve: Safari and Delacourt 2011, Table I; gap: typical 5-25 mV, Dreyer 2010; "
            "resistance: 0.3-1 mohm for 100-300 Ah prismatic cells, common practice; "
            "energies: 20 (milder, ohmic) to 33.8 kJ/mol (charge transfer), published fits"
        ),
    )  # fmt: skip


def _nmc() -> Chemistry:
    soc, mean_v = _table(nmc_cell_v)
    return Chemistry(
        name="nmc", soc=soc, mean_v=mean_v, half_gap_v=0.003, gap_soc_frac=0.05,
        gap_activation_j=0.0, entropy_v_per_k=-0.0001, curve_sd_v=0.02, shape_sd_v=0.03,
        shape_soc=0.2, r0_ohm_ah=0.07, r1_ohm_ah=0.03, r2_ohm_ah=0.04, tau1_s=20.0,
        tau2_s=600.0, ohmic_activation_j=15e3, charge_activation_j=30e3, cutoff_v=3.0,
        full_v=4.15, full_tail_c=0.05, charge_efficiency=0.998, no_charge_below_c=0.0,
        source="curve: Chen et al. 2020 half-cell fits; the rest: common practice, no source",
    )  # fmt: skip


def _lead_acid() -> Chemistry:
    soc, mean_v = _table(lead_acid_cell_v)
    return Chemistry(
        name="lead_acid", soc=soc, mean_v=mean_v, half_gap_v=0.01, gap_soc_frac=0.05,
        gap_activation_j=0.0, entropy_v_per_k=0.0002, curve_sd_v=0.015, shape_sd_v=0.01,
        shape_soc=0.3, r0_ohm_ah=0.1, r1_ohm_ah=0.06, r2_ohm_ah=0.1, tau1_s=60.0,
        tau2_s=1800.0, ohmic_activation_j=10e3, charge_activation_j=20e3, cutoff_v=1.75,
        full_v=2.35, full_tail_c=0.03, charge_efficiency=0.9, no_charge_below_c=None,
        source="curve: a maker's table for flooded deep-cycle cells; common practice, no source",
    )  # fmt: skip


@lru_cache(maxsize=8)
def chemistry(name: str) -> Chemistry:
    """The chemistry of that name: "lfp", "nmc" or "lead_acid".

    Raises:
        KeyError: There is none of that name.
    """
    return {"lfp": _lfp, "nmc": _nmc, "lead_acid": _lead_acid}[name]()


def default_params(pack: Pack) -> CellParams:
    """The mean cell's circuit before anything was learned, from the chemistry and rated Ah.

    A maker's `cell_resistance_ohm` replaces the chemistry's r0 and r1 together.
    """
    kind = chemistry(pack.chemistry)
    ah = pack.rated_capacity_ah
    r0, r1, r2 = kind.r0_ohm_ah / ah, kind.r1_ohm_ah / ah, kind.r2_ohm_ah / ah
    if pack.cell_resistance_ohm is not None:
        scale = pack.cell_resistance_ohm / (r0 + r1)
        r0, r1, r2 = r0 * scale, r1 * scale, r2 * scale
    return CellParams(r0, r1, kind.tau1_s, r2, kind.tau2_s, ah)
