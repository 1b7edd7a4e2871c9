"""What kind of cell it is, as data: curve at rest, gap, temperature, limits, and how sure.

A chemistry is what is known before a boat has been measured. A cell that was measured has the
same shape with its own numbers and narrower standard deviations (`tests/support/identify.py`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves.doubt import (
    EMPTY_SD,
    GRID,
    KNOTS,
    LFP_OWN_V,
    NMC_EMPTY_V,
    NMC_METER_V,
    NMC_OWN_V,
    NMC_REACH,
    curve_cov_v2,
    doubt,
    end_shift,
    nmc_spread,
    shape,
)
from analyzer.pack.curves.half_cells import lfp_cell_v, lfp_spread_v, nmc_spread_v
from analyzer.pack.curves.kept_prior import kept_prior
from analyzer.pack.curves.service_prior import SERVICE, Part, drawn_parts
from analyzer.pack.lead_acid.rest import rest_modes_v, rest_v
from logger.units import ZERO_C_IN_K

Floats = npt.NDArray[np.float64]
Numeric = float | Floats

GAS_J_PER_MOL_K = 8.314462618  # CODATA 2018
# Parameters are given at this temperature: common practice, no source.
REFERENCE_C = 25.0


@dataclass(frozen=True)
class Chemistry:
    """One kind of cell. Voltages are per cell, at rest unless a name says otherwise.

    Args:
        soc: Charge of the tables below, 0 to 1, rising, shape (n,).
        mean_v: The open-circuit curve at 25 °C, midway between charge and discharge, (n,).
        half_gap_v: Half the gap between the charge and the discharge curve, (n,).
        fast_shape, slow_shape: Resistance over that at mid charge: of r0 and r1, of r2, (n,).
        gap_soc_frac: Charge moved, as a share of capacity, that goes 63 % of the way from
            one curve to the other.
        gap_activation_j: How the gap grows in the cold, as an Arrhenius energy. [J/mol]
        entropy_v_per_k: Change of the whole curve with temperature.
        curve_sd_v: How far a cell of this chemistry may lie off the curve as a whole.
        shape_sd_v, shape_soc: How far the curve's shape may be off, and over what charge.
        end_sd_v: The same towards empty and full, by charge, (n,).
        curve_cov_v2: Both and more, as the covariance of what the curve is off by at `KNOTS`, its
            level and what goes with the capacity apart, (k, k). [V²]
        capacity: Of ln(capacity/label) of packs in service: normal distributions side by side.
        curve_per_ln_q_v: How far the curve lies off at `KNOTS` for a ln(capacity/label) one above
            its mean, (k,). [V]
        gap_sd: Standard deviation of the gap's relative size.
        fast_sd, slow_sd: Of the logarithm of r0 and r1, and of r2.
        ohm_per_ln_q: How far ln(r0 and r1) lies above a new cell's for each ln(capacity/label).
        walk_share: Slow polarisation that no pair describes, as a share of the slow pair's.
        loss_sd: Relative error of the circuit's voltage loss at any moment.
        axis_sd: Of where on the charge axis the curve's bends lie, from time to time: load,
            temperature, what was called full.
        ohm_shape_sd: Of how the resistances change with charge, as a share of the change.
        model_sd_v: Of the circuit at rest, at any moment.
        lasts_s: How long an error of the circuit lasts.
        branch_sd: How far off the branch the law of hysteresis may be.
        r0_ohm_ah, r1_ohm_ah, r2_ohm_ah: Resistance times capacity at 25 °C, mid charge.
        activation_v, activation_c: What a load costs at once beside that, at 25 °C and mid charge:
            activation_v · asinh(I / (activation_c · Ah)); none where a straight line does.
        tau1_s, tau2_s: Time constants.
        ohmic_activation_j, charge_activation_j: Of r0, and of r1 and r2. [J/mol]
        cutoff_v, full_v: Under load; on charge.
        top_v: A cell above this while the charge current tails off is full.
        full_tail_c: Current below which a charge held at the top is full, as a share of Ah.
        label_full_v: Inside the cell, from which on a tailing charge means 100 % of the label.
            Where chargers are set lower, the curve alone tells how full the cell is then.
        charge_efficiency: Charge that comes back out per charge put in.
        no_charge_below_c: Below this the cell must not be charged; None: no such limit.
        lowest_soc: No cell of the kind gives what its label does not hold beyond this. [frac]
    """

    name: str
    soc: Floats
    mean_v: Floats
    half_gap_v: Floats
    fast_shape: Floats
    slow_shape: Floats
    end_sd_v: Floats
    curve_cov_v2: Floats
    curve_per_ln_q_v: Floats
    capacity: tuple[Part, ...]
    gap_soc_frac: float
    gap_activation_j: float
    entropy_v_per_k: float
    curve_sd_v: float
    shape_sd_v: float
    shape_soc: float
    gap_sd: float
    fast_sd: float
    slow_sd: float
    ohm_per_ln_q: float
    walk_share: float
    loss_sd: float
    axis_sd: float
    ohm_shape_sd: float
    model_sd_v: float
    lasts_s: float
    branch_sd: float
    r0_ohm_ah: float
    r1_ohm_ah: float
    r2_ohm_ah: float
    activation_v: float
    activation_c: float
    tau1_s: float
    tau2_s: float
    ohmic_activation_j: float
    charge_activation_j: float
    cutoff_v: float
    full_v: float
    top_v: float
    full_tail_c: float
    charge_efficiency: float
    label_full_v: float
    no_charge_below_c: float | None
    lowest_soc: float
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
        return np.asarray(mean + shift + self.gap_v(temp_c, soc) * np.asarray(hysteresis))

    def docv_dsoc(self, soc: Numeric) -> Floats:
        """Slope of the mean curve over 1 % of charge. [V per unit of charge]"""
        below = np.maximum(np.asarray(soc) - 0.005, 0.0)
        above = np.minimum(np.asarray(soc) + 0.005, 1.0)
        rise = np.interp(above, self.soc, self.mean_v) - np.interp(below, self.soc, self.mean_v)
        return np.asarray(rise / np.maximum(above - below, 0.005))

    def soc_at(self, rest_v: Numeric, temp_c: Numeric = 25.0, hysteresis: Numeric = 0.0) -> Floats:
        """Charge at a rest voltage; on a flat curve a poor guess. [frac] broadcast shape."""
        shift = self.entropy_v_per_k * (np.asarray(temp_c) - REFERENCE_C)
        at_25 = arrhenius(temp_c, self.gap_activation_j)
        # the curve to be inverted differs with each gap: one look-up a place
        if np.ndim(hysteresis) or np.ndim(at_25):
            level, gap = np.broadcast_arrays(rest_v - shift, at_25 * np.asarray(hysteresis))
            pairs = zip(level.ravel().tolist(), gap.ravel().tolist(), strict=True)
            found = np.array([float(self._soc_of(v, g)) for v, g in pairs])
            return found.reshape(level.shape)
        return self._soc_of(np.asarray(rest_v) - shift, float(at_25) * float(hysteresis))

    def _soc_of(self, volts: Numeric, gap: float) -> Floats:
        # a gap that changes with charge may bend the branch down; it must rise to be inverted
        curve = np.maximum.accumulate(self.mean_v + gap * self.half_gap_v)
        return np.asarray(np.interp(volts, curve, self.soc))

    def gap_v(self, temp_c: Numeric = 25.0, soc: Numeric = 0.5) -> Floats:
        """Half the gap between charge and discharge curve. [V] broadcast shape."""
        half = np.interp(soc, self.soc, self.half_gap_v)
        return np.asarray(half * arrhenius(temp_c, self.gap_activation_j))

    def ohmic_factor(self, temp_c: Numeric) -> Floats:
        """Ohmic resistance over that at 25 °C."""
        return arrhenius(temp_c, self.ohmic_activation_j)

    def activation_loss_v(self, current_a: Floats, temp_c: Numeric, capacity_ah: float) -> Floats:
        """What a current costs at once beside the resistances, of its sign. [V] broadcast shape."""
        exchange_a = self.activation_c * capacity_ah / self.charge_factor(temp_c)
        return np.asarray(self.activation_v * np.arcsinh(current_a / exchange_a))

    def activation_ohm(self, current_a: float, capacity_ah: float) -> float:
        """Its slope at a current, at 25 °C: what a small step of the load sees. [ohm]"""
        exchange_a = self.activation_c * capacity_ah
        return self.activation_v / float(np.hypot(exchange_a, current_a))

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


# What every kind's circuit is off by; see `Chemistry`. Assumed.
_CIRCUIT: dict[str, Any] = {
    "walk_share": 0.1, "loss_sd": 0.15, "axis_sd": 0.008, "ohm_shape_sd": 0.6, "branch_sd": 0.3,
}  # fmt: skip
# How long an error of the circuit lasts. No circuit has the cell's own slow relaxation: its time
# constant grows with the time at rest (L. Pei et al., J. Power Sources 253 (2014) 412), real cells
# relax far more slowly than models do (T. Kirk et al. 2021, arXiv 2104.12626). So a lithium cell's
# error lasts longer than the slow pair, and less long than it rests before it counts as settled,
# two hours (common practice, no source): their geometric mean. Lead-acid rests for a day and longer
# (makers' data sheets of rest voltage), so that its error lasts as long as the slow pair at least.
LASTS_S = {"lithium": (600 * 7200) ** 0.5, "lead": 1800.0}
# Five tables of glass-mat blocks print currents and powers, whose ratio is the mean voltage of a
# discharge. It lies below the mean rest voltage by 38 to 70 mV at a tenth of the amp-hours an hour
# (one: 12), 74 to 126 mV at a quarter, 114 to 176 at six tenths (`tests/field/fit_lead_loss.py`):
# the charge transfer's form, (RT/F) asinh(I/I0), beside a resistance; fitted to them.
LEAD_ACTIVATION_V, LEAD_ACTIVATION_C = 0.0257, 0.05  # fitted, see above
# Ohmic resistance, and that of the first minute, times capacity [ohm Ah]. Sealed: the same fit,
# and makers' data sheets, 0.07 to 0.09 within a second. Flooded deep-cycle blocks of thicker
# plates: 2 to 4 milliohm for 6 V and 225 Ah, so 0.15 to 0.3 in all (from memory).
LEAD_OHM_AH = {"lead_acid": (0.14, 0.07), "agm": (0.07, 0.02), "gel": (0.07, 0.02)}
# A worn block has 80 % of its capacity and half as much resistance again (the limits of IEEE 1188,
# from memory): ln(1.5) / ln(0.8). Resistance and capacity of blocks in service go together
# (D. O. Feder et al., INTELEC 1992, from memory), so the one tells of the other.
LEAD_OHM_PER_LN_Q = -1.8
# Makers' tables that go on to 100 hours give 1.07 to 1.15 of the 20-hour capacity (from memory).
BEYOND_LABEL = -0.15


def _lithium(name: str) -> dict[str, Any]:
    """What both lithium chemistries share, and the part of the curve that goes with the capacity.
    Common practice, no source, but for the prior."""
    prior = kept_prior(name)
    return {
        "soc": GRID, "fast_shape": shape({0: 1.6, 0.1: 1.2, 0.3: 1.0, 1: 1.0}),
        "curve_per_ln_q_v": prior.beta_v, "capacity": prior.parts,
        "fast_sd": 0.35, "slow_sd": 0.4, "tau1_s": 20.0,
        "tau2_s": 600.0, "ohmic_activation_j": 15e3, "full_tail_c": 0.05,
        "charge_efficiency": 0.998, "no_charge_below_c": 0.0, "lasts_s": LASTS_S["lithium"],
        "lowest_soc": -2 * EMPTY_SD, "activation_v": 0.0, "activation_c": 1.0,
        "ohm_per_ln_q": 0.0,
        **_CIRCUIT,
    }  # fmt: skip


def _lfp() -> Chemistry:
    """Curve and its doubt: `curves/prior.py`; its level: what the published half cells scatter by
    (25 mV) and a pack meter of 0.5 %. Where 0 % is: 1.5 % of charge, assumed. Gap: 5-25 mV on the
    plateau after long rest, about 20 mV at no current (Dreyer 2010). Resistance: 0.3-1 milliohm for
    100-300 Ah prismatic cells, common practice. Circuit: real cells' own, identified, are off by
    1.5, 3.2 and 4.6 mV where they had not looked (two of 3.5 and 1.2 Ah); a usual one is no better.
    Energies: between the milder 20 kJ/mol of real ohmic parts and the charge transfer's 33.8."""
    prior = kept_prior("lfp")
    return Chemistry(
        name="lfp", mean_v=prior.mean_v, half_gap_v=np.full(GRID.size, 0.018),
        slow_shape=shape({0: 3.0, 0.1: 1.6, 0.3: 1.0, 0.9: 1.0, 1: 1.6}),
        end_sd_v=np.abs(lfp_spread_v(GRID)) + end_shift(lfp_cell_v(GRID), EMPTY_SD),
        curve_cov_v2=curve_cov_v2(prior.mean_v, LFP_OWN_V, prior.shared_v2),
        gap_soc_frac=0.04, gap_activation_j=8e3, gap_sd=0.6, entropy_v_per_k=0.0,
        curve_sd_v=0.03, shape_sd_v=0.010, shape_soc=0.1, model_sd_v=0.003,
        r0_ohm_ah=0.065, r1_ohm_ah=0.035, r2_ohm_ah=0.045, charge_activation_j=33.8e3,
        cutoff_v=2.5, full_v=3.55, top_v=3.40, label_full_v=3.40,
        source=_lfp.__doc__ or "", **_lithium("lfp"),
    )  # fmt: skip


def _nmc() -> Chemistry:
    """Curve and its doubt: `curves/prior.py`. For what asks for one figure: the distance of a cell
    rich in nickel and one of 5:3:2, and over what charge that stays alike. The rest: common
    practice, no source."""
    sd_v = nmc_spread()
    prior = kept_prior("nmc")
    return Chemistry(
        name="nmc", mean_v=prior.mean_v, half_gap_v=np.full(GRID.size, 0.003),
        slow_shape=shape({0: 3.0, 0.1: 1.6, 0.3: 1.0, 1: 1.0}),
        end_sd_v=np.abs(nmc_spread_v(GRID)),
        curve_cov_v2=curve_cov_v2(prior.mean_v, NMC_OWN_V, prior.shared_v2),
        gap_soc_frac=0.05, gap_activation_j=0.0, gap_sd=0.3, entropy_v_per_k=-0.0001,
        curve_sd_v=0.02, shape_sd_v=sd_v, shape_soc=NMC_REACH, model_sd_v=0.0015,
        r0_ohm_ah=0.07, r1_ohm_ah=0.03, r2_ohm_ah=0.04, charge_activation_j=30e3,
        cutoff_v=NMC_EMPTY_V, full_v=4.15, top_v=4.10, label_full_v=4.2 - NMC_METER_V,
        source=_nmc.__doc__ or "", **_lithium("nmc"),
    )  # fmt: skip


def _lead_acid(name: str) -> Chemistry:
    """Curve and its doubt: published ones of the kind, `lead_acid/rest.py`. The slow pair stands
    for what the two wells do, for the charge filter only. The rest: common practice, no source."""
    level_sd_v, modes = rest_modes_v(name, GRID)
    return Chemistry(
        name=name, soc=GRID, mean_v=rest_v(name, GRID),
        half_gap_v=np.full(GRID.size, 0.01),
        fast_shape=shape({0: 2.0, 0.3: 1.3, 0.6: 1.0, 1: 0.9}),
        slow_shape=shape({0: 2.0, 0.3: 1.3, 0.6: 1.0, 1: 0.9}),
        end_sd_v=np.zeros(GRID.size), curve_cov_v2=doubt(0.003, 0.3, *modes),
        curve_per_ln_q_v=np.zeros(len(KNOTS)), capacity=drawn_parts(SERVICE[name]),
        gap_soc_frac=0.05, gap_activation_j=0.0, entropy_v_per_k=0.0002, curve_sd_v=level_sd_v,
        shape_sd_v=float(np.sqrt(np.mean(np.sum(modes**2, axis=0)))), shape_soc=0.3, gap_sd=0.3,
        fast_sd=0.35, slow_sd=0.5, model_sd_v=0.0015, ohm_per_ln_q=LEAD_OHM_PER_LN_Q,
        r0_ohm_ah=LEAD_OHM_AH[name][0], r1_ohm_ah=LEAD_OHM_AH[name][1], r2_ohm_ah=0.06,
        activation_v=LEAD_ACTIVATION_V, activation_c=LEAD_ACTIVATION_C,
        tau1_s=60.0, tau2_s=1800.0, ohmic_activation_j=10e3, charge_activation_j=20e3,
        cutoff_v=1.75, full_v=2.35, top_v=2.28, full_tail_c=0.03, charge_efficiency=0.9,
        label_full_v=2.28, no_charge_below_c=None, lowest_soc=BEYOND_LABEL,
        source=_lead_acid.__doc__ or "",
        lasts_s=LASTS_S["lead"], **_CIRCUIT,
    )  # fmt: skip


LEAD = ("lead_acid", "agm", "gel")
_SETS: dict[str, Callable[[], Chemistry]] = {
    "lfp": _lfp, "nmc": _nmc, **{name: partial(_lead_acid, name) for name in LEAD}
}  # fmt: skip


@lru_cache(maxsize=8)
def chemistry(name: str) -> Chemistry:
    """The chemistry of that name: "lfp", "nmc", "lead_acid" (flooded), "agm" or "gel".

    Raises:
        KeyError: There is none of that name.
    """
    return _SETS[name]()
