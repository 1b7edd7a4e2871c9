"""Readings gathered into short steps for the charge filter, all at once."""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell, arrhenius
from analyzer.pack.chemistry import GAS_J_PER_MOL_K, LEAD, REFERENCE_C
from analyzer.pack.lead_acid.charge import is_full
from analyzer.pack.soc.filter import GAP_REACH, WALK_REST_V, WALK_S
from analyzer.pack.soc.states import (
    FAST,
    GAP,
    HYST,
    LN_Q,
    OFFSET,
    SHIFT,
    SLOW,
    SOC,
    STATES,
    WALK,
    FilterStep,
)
from analyzer.pack.soc.terminal_current import TerminalCurrent, terminal_current
from analyzer.series.derived import cell_temp_c, mean_cell_v
from analyzer.series.recursion import first_order_lag, hysteresis_over
from analyzer.series.series import Series
from analyzer.series.steps import Steps, readings_per_step
from logger.boat import Pack
from logger.units import HOUR_S, ZERO_C_IN_K

if TYPE_CHECKING:
    from analyzer.pack.soc.state import PackPosterior

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

STEP_S = 20.0  # short against the slow pair, long against what a step costs; assumed
YEAR_H = 8766.0  # of 365.25 days, by definition
AGEING_SD = 0.03  # by how much a year may change the capacity, relative; common practice, no source
COUNT_SD = 0.003  # of the charge moved: gain and timing, as a share; assumed
# Doubt of the activation energies; a changed temperature makes the resistances less sure. Published
# ones reach from 10 kJ/mol, where the ohmic part rules, to over 40 for charge transfer alone.
FAST_ENERGY_SD_J, SLOW_ENERGY_SD_J = 12e3, 15e3
# What is left of that doubt once one factor for r0 and r1 is learned: they part in the cold, by
# the difference of two such energies times their shares, a third and two thirds. Assumed.
APART_ENERGY_J = 4e3
ENTROPY_SD_V_PER_K = 1e-4  # published entropy coefficients reach from -0.1 to 0.2 mV/K
# Random walks: of the charge beside what is counted, of resistances, of the shunt's offset as a
# share of Ah, each after an hour. Assumed.
SOC_WALK, FAST_WALK, SLOW_WALK, OFFSET_WALK_C = 1e-4, 0.02, 0.05, 0.0003


@dataclass
class FilterInputs:
    """What the filter takes in, arrays of steps (m,) and of readings (n,).

    Args:
        charge_as, length_s, lost_s, hyst_keep, hyst_drift, mean_v, r0_v, u1_v, u2_v, r0_ohm,
            gap_factor, temp_shift_v, loss_sd: As in `FilterStep`, (m,).
        load_cov: Likewise, (m, 7).
        temp_c: At the step's beginning, (m,).
        charge_var: What gaps and charge efficiency add to the charge's variance, (m,).
        at_top: Charged at the top voltage with little current, (m,).
        by_charger: The voltage is the charger's alone (lead-acid), (m,).
        step_of: Each reading's step, (n,).
        losses: Of each reading.
        noise: Process noise, variances of the states, (m, states).
    """

    charge_as: Floats
    length_s: Floats
    lost_s: Floats
    hyst_keep: Floats
    hyst_drift: Floats
    mean_v: Floats
    r0_v: Floats
    u1_v: Floats
    u2_v: Floats
    load_cov: Floats
    r0_ohm: Floats
    gap_factor: Floats
    temp_shift_v: Floats
    loss_sd: Floats
    temp_c: Floats
    charge_var: Floats
    at_top: Bools
    by_charger: Bools
    step_of: Ints
    losses: "Losses"
    noise: Floats = field(default_factory=lambda: np.zeros((0, STATES)))

    def steps(self) -> Iterator[FilterStep]:
        """Step after step, as plain numbers."""
        columns = [getattr(self, column.name).tolist() for column in fields(FilterStep)]
        for row in zip(*columns, strict=True):
            yield FilterStep(*row)


@dataclass(frozen=True)
class Losses:
    """Voltage lost in the mean cell's circuit, parameters as they stand; all (n,). [V], [°C]"""

    temp_c: Floats
    r0_v: Floats
    u1_v: Floats
    u2_v: Floats


def filter_inputs(
    series: Series,
    pack: Pack,
    cell: Cell,
    start: "PackPosterior | None",
    gap_s: float,
    sign: float = 1.0,
) -> FilterInputs:
    """Per filter step: charge moved, losses, hysteresis and process noise.

    Args:
        start: State before the series, for the polarisation that is left of it.
        gap_s: Time between that state and the series. [s]
        sign: -1 where the shunt is the wrong way round.
    """
    temp_c = cell_temp_c(series, start.temp_c if start else 20.0)
    volts = mean_cell_v(series, pack)
    current = terminal_current(series, cell, sign, volts, temp_c)
    losses = polarisation(current.amps, series.step_s, temp_c, cell, _relaxed(start, cell, gap_s))
    steps = Steps.of(series.n, series.step_s, readings_per_step(STEP_S, series.step_s))
    inputs = step_means(steps, volts, current, losses, cell)
    inputs.noise = process_noise(inputs, cell, start.temp_c if start else REFERENCE_C)
    return inputs


def polarisation(
    amps: Floats, step_s: float, temp_c: Floats, cell: Cell, start_v: tuple[float, float]
) -> Losses:
    """Losses of the equivalent circuit: u0 = R0·I, τ·du/dt = R·I - u of both pairs.

    Args:
        start_v: Of both pairs at the beginning. [V]
    """
    kind, p = cell.kind, cell.params
    ohmic, charge = kind.ohmic_factor(temp_c), kind.charge_factor(temp_c)
    keep_1, keep_2 = (float(np.exp(-step_s / tau_s)) for tau_s in (p.tau1_s, p.tau2_s))
    return Losses(
        temp_c=temp_c,
        r0_v=amps * p.r0_ohm * ohmic,
        u1_v=first_order_lag(amps * p.r1_ohm * charge, keep_1, start_v[0]),
        u2_v=first_order_lag(amps * p.r2_ohm * charge, keep_2, start_v[1]),
    )


def _relaxed(start: "PackPosterior | None", cell: Cell, gap_s: float) -> tuple[float, float]:
    """Polarisation that a state was left with, after a time at rest, as the parameters have it at
    mid charge. [V]"""
    if start is None:
        return 0.0, 0.0
    kind, p = cell.kind, cell.params
    fast, slow = (np.interp(start.soc, kind.soc, t) for t in (kind.fast_shape, kind.slow_shape))
    v1 = start.v1_v / (start.r_factor * fast)
    v2 = start.v2_v / (start.slow_factor * slow)
    return float(v1 * np.exp(-gap_s / p.tau1_s)), float(v2 * np.exp(-gap_s / p.tau2_s))


def step_means(
    steps: Steps, volts: Floats, current: TerminalCurrent, losses: Losses, cell: Cell
) -> FilterInputs:
    """Sums and means over the steps, process noise left to `process_noise`."""
    kind, ah, temp_c = cell.kind, cell.params.capacity_ah, losses.temp_c[steps.first]
    measured = np.isfinite(volts) & ~current.lost
    ok = measured & ~current.by_charger
    moved_as = current.stored_a * steps.step_s
    keep, drift = hysteresis_over(steps, moved_as, HOUR_S * ah * kind.gap_soc_frac)
    counted = np.cumsum(current.stored_a) * steps.step_s
    products = steps.products([volts, losses.r0_v, losses.u1_v, counted], ok)
    charge_as = steps.total(current.stored_a) * steps.step_s
    inverse = 1.0 / (temp_c + ZERO_C_IN_K) - 1.0 / (REFERENCE_C + ZERO_C_IN_K)
    return FilterInputs(
        charge_as=charge_as,
        length_s=steps.length_s,
        lost_s=steps.total(current.lost.astype(float)) * steps.step_s,
        hyst_keep=keep,
        hyst_drift=drift,
        mean_v=steps.mean(volts, ok),
        r0_v=steps.mean(losses.r0_v, ok),
        u1_v=steps.mean(losses.u1_v, ok),
        u2_v=steps.mean(losses.u2_v, ok),
        load_cov=np.column_stack(products),
        r0_ohm=cell.params.r0_ohm * kind.ohmic_factor(temp_c),
        gap_factor=arrhenius(temp_c, kind.gap_activation_j),
        temp_shift_v=kind.entropy_v_per_k * (temp_c - REFERENCE_C),
        loss_sd=APART_ENERGY_J / GAS_J_PER_MOL_K * np.abs(inverse),
        temp_c=temp_c,
        charge_var=steps.total(current.charge_var),
        at_top=_at_top(steps, volts, measured, charge_as, losses, cell),
        by_charger=steps.any(current.by_charger),
        step_of=steps.step_of,
        losses=losses,
    )


def _at_top(
    steps: Steps, volts: Floats, measured: Bools, charge_as: Floats, losses: Losses, cell: Cell
) -> Bools:
    """Whether the cell is at the top voltage while little current charges it. (m,)"""
    kind, ah = cell.kind, cell.params.capacity_ah
    top_v, top_r0, top_u1 = (steps.mean(v, measured) for v in (volts, losses.r0_v, losses.u1_v))
    tail_a = -charge_as / np.maximum(steps.length_s, 1e-9)
    at_top = top_v + top_r0 + top_u1 >= kind.top_v
    at_top &= (tail_a >= 0) & (tail_a < kind.full_tail_c * ah)
    if kind.name in LEAD:
        at_top |= is_full(top_v, tail_a, losses.temp_c[steps.first], ah)
    return at_top


def process_noise(inputs: FilterInputs, cell: Cell, before_c: float) -> Floats:
    """Variances added to the states in each step, shape (m, states).

    Args:
        before_c: Temperature before the first step. [°C]
    """
    ah, kind = cell.params.capacity_ah, cell.kind
    hours = inputs.length_s / HOUR_S
    share = np.abs(inputs.charge_as) / (HOUR_S * ah)
    temp_c = np.r_[before_c, inputs.temp_c]
    warmer_k = np.diff(temp_c)
    # d ln R = E/R·d(1/T): a changed temperature makes resistances less sure
    by_energy = np.diff(1.0 / (temp_c + ZERO_C_IN_K)) / GAS_J_PER_MOL_K
    walk_v = WALK_REST_V + kind.walk_share * np.abs(np.nan_to_num(inputs.u2_v))
    noise = np.zeros((len(hours), STATES))
    noise[:, SOC] = (COUNT_SD * share) ** 2 + SOC_WALK**2 * hours + inputs.charge_var
    noise[:, SHIFT] = (ENTROPY_SD_V_PER_K * warmer_k) ** 2
    # forgetting processes keep their own variance: sd²·(1 - keep²)
    noise[:, WALK] = walk_v**2 * (1 - np.exp(-2 * inputs.length_s / WALK_S))
    noise[:, GAP] = kind.gap_sd**2 * (1 - np.exp(-2 * share / GAP_REACH))
    noise[:, HYST] = kind.branch_sd**2 * (1 - inputs.hyst_keep * inputs.hyst_keep)
    noise[:, FAST] = FAST_WALK**2 * hours + (FAST_ENERGY_SD_J * by_energy) ** 2
    noise[:, SLOW] = SLOW_WALK**2 * hours + (SLOW_ENERGY_SD_J * by_energy) ** 2
    noise[:, OFFSET] = (OFFSET_WALK_C * ah) ** 2 * hours
    noise[:, LN_Q] = AGEING_SD**2 * hours / YEAR_H
    return noise
