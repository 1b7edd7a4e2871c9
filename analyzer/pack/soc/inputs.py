"""Readings gathered into short steps for the charge filter, all at once."""

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell, arrhenius
from analyzer.pack.chemistry import GAS_J_PER_MOL_K, LEAD, REFERENCE_C
from analyzer.pack.lead_acid.charge import is_full, tailing_soc
from analyzer.pack.soc.noise import APART_ENERGY_J, READING_SD_V, process_noise
from analyzer.pack.soc.state import PackPosterior
from analyzer.pack.soc.states import FilterInputs, Losses
from analyzer.pack.soc.terminal_current import TerminalCurrent, terminal_current
from analyzer.series.derived import cell_temp_c, mean_cell_v
from analyzer.series.recursion import first_order_lag, hysteresis_over
from analyzer.series.series import Series
from analyzer.series.steps import Steps, readings_per_step
from logger.boat import Pack
from logger.units import HOUR_S, ZERO_C_IN_K

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

# Loads, as shares of the capacity an hour, at which the end of a discharge is the label's: makers
# count lithium at 0.2 to 0.5, lead-acid in 20 hours; a harder load ends early, a lighter one late.
# How far about that it may lie: assumed.
LITHIUM_LABEL_C = (0.1, 1.0)
LEAD_LABEL_C = (0.035, 0.07)
LOOSE_V = 0.02  # voltage jumping by more than this within a step shows no end; assumed
STEP_S = 20.0  # short against the slow pair, long against what a step costs; assumed


def filter_inputs(
    series: Series,
    pack: Pack,
    cell: Cell,
    start: PackPosterior | None,
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
    before_v = _relaxed(start, cell, gap_s)
    current = terminal_current(series, cell, sign, volts, temp_c)
    losses = polarisation(current.amps, series.step_s, temp_c, cell, before_v)
    steps = Steps.of(series.n, series.step_s, readings_per_step(STEP_S, series.step_s))
    inputs = step_means(steps, volts, current, losses, cell)
    measured = np.isfinite(volts) & ~current.lost
    inputs.at_bottom = _at_bottom(steps, volts, measured, inputs, cell)
    inputs.noise = process_noise(inputs, cell, start.temp_c if start else REFERENCE_C)
    return inputs


def polarisation(
    amps: Floats, step_s: float, temp_c: Floats, cell: Cell, start_v: tuple[float, float]
) -> Losses:
    """Losses of the equivalent circuit: u0 = R0·I + a(I), τ·du/dt = R·I - u of both pairs.

    a is what a load costs at once beside a resistance: `Chemistry.activation_loss_v`.

    Args:
        start_v: Of both pairs at the beginning. [V]
    """
    p = cell.params
    ohmic = cell.kind.ohmic_factor(temp_c)
    charge = cell.kind.charge_factor(temp_c)
    keep_1 = float(np.exp(-step_s / p.tau1_s))
    keep_2 = float(np.exp(-step_s / p.tau2_s))
    fast_v = amps * p.r1_ohm * charge
    slow_v = amps * p.r2_ohm * charge
    at_once_v = cell.kind.activation_loss_v(amps, temp_c, p.capacity_ah)
    return Losses(
        temp_c=temp_c,
        r0_v=amps * p.r0_ohm * ohmic + at_once_v,
        u1_v=first_order_lag(fast_v, keep_1, start_v[0]),
        u2_v=first_order_lag(slow_v, keep_2, start_v[1]),
    )


def _relaxed(start: PackPosterior | None, cell: Cell, gap_s: float) -> tuple[float, float]:
    """Polarisation that a state was left with, after a time at rest, as the parameters have it at
    mid charge. [V]"""
    if start is None:
        return 0.0, 0.0
    kind, p = cell.kind, cell.params
    # the filter multiplies by its factors again, so that they are taken out here
    fast = start.r_factor * np.interp(start.soc, kind.soc, kind.fast_shape)
    slow = start.slow_factor * np.interp(start.soc, kind.soc, kind.slow_shape)
    v1_v = start.v1_v / fast * np.exp(-gap_s / p.tau1_s)
    v2_v = start.v2_v / slow * np.exp(-gap_s / p.tau2_s)
    return float(v1_v), float(v2_v)


def step_means(
    steps: Steps, volts: Floats, current: TerminalCurrent, losses: Losses, cell: Cell
) -> FilterInputs:
    """Sums and means over the steps, process noise left to `process_noise`."""
    kind, temp_c = cell.kind, losses.temp_c[steps.first]
    measured = np.isfinite(volts) & ~current.lost
    # a charger's voltage is its own set point: no evidence of the cell
    ok = measured & ~current.by_charger
    moved_as = current.stored_a * steps.step_s
    scale_as = HOUR_S * cell.params.capacity_ah * kind.gap_soc_frac
    keep, drift = hysteresis_over(steps, moved_as, scale_as)
    counted = np.cumsum(moved_as)
    products = steps.products([volts, losses.r0_v, losses.u1_v, counted], ok)
    charge_as = steps.total(moved_as)
    # d ln R = E/R·d(1/T), as in `process_noise`
    usual = 1.0 / (REFERENCE_C + ZERO_C_IN_K)
    colder = 1.0 / (temp_c + ZERO_C_IN_K) - usual
    at_top, full_soc = _at_top(steps, volts, measured, charge_as, losses, cell)
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
        loss_sd=APART_ENERGY_J / GAS_J_PER_MOL_K * np.abs(colder),
        jumps_v2=_jumps_v2(steps, volts + losses.r0_v + losses.u1_v, ok),
        temp_c=temp_c,
        charge_var=steps.total(current.charge_var),
        at_top=at_top,
        full_soc=full_soc,
        by_charger=steps.any(current.by_charger),
        step_of=steps.step_of,
        losses=losses,
    )


def _jumps_v2(steps: Steps, inside_v: Floats, ok: Bools) -> Floats:
    """Variance inside each step of the voltage behind the ohmic part and the fast pair, beyond a
    reading's own: there it moves slowly, unless a lead is loose. [V²] (m,)"""
    mean_v = steps.mean(inside_v, ok)
    jumps = steps.mean(inside_v**2, ok) - mean_v**2
    return np.maximum(jumps - READING_SD_V**2, 0.0)


def _at_top(
    steps: Steps, volts: Floats, measured: Bools, charge_as: Floats, losses: Losses, cell: Cell
) -> tuple[Bools, Floats]:
    """Whether the cell is at the top voltage while little current charges it, and which charge
    that means; NaN where the label's full is not reached. (m,) both"""
    kind, ah = cell.kind, cell.params.capacity_ah
    terminal_v = steps.mean(volts, measured)
    # the charging current lifts the terminals; what lies behind the ohmic part counts
    inside_v = terminal_v + steps.mean(losses.r0_v, measured)
    inside_v += steps.mean(losses.u1_v, measured)
    tail_a = -charge_as / np.maximum(steps.length_s, 1e-9)
    tailing = (tail_a >= 0) & (tail_a < kind.full_tail_c * ah)
    at_top = tailing & (inside_v >= kind.top_v)
    if kind.name in LEAD:
        at_top |= is_full(terminal_v, tail_a, losses.temp_c[steps.first], ah)
        return at_top, tailing_soc(tail_a, ah)
    # a charger that is set lower ends lower: so full as the charge branch has it there
    soc = kind.soc_at(inside_v, losses.temp_c[steps.first], 1.0)
    return at_top, np.where(inside_v >= kind.label_full_v, soc, np.nan)


def _at_bottom(
    steps: Steps, volts: Floats, measured: Bools, inputs: FilterInputs, cell: Cell
) -> Bools:
    """Whether a load has drawn the cell down to the voltage at which its label ends. (m,)"""
    low, high = LEAD_LABEL_C if cell.kind.name in LEAD else LITHIUM_LABEL_C
    drawn_a = inputs.charge_as / np.maximum(inputs.length_s, 1e-9)
    load_c = drawn_a / cell.params.capacity_ah
    # a moment at the end is enough: there a load is shed or a protection opens
    lowest_v = np.where(measured, volts, np.inf)
    ended = steps.any(lowest_v <= cell.kind.cutoff_v) & (inputs.jumps_v2 < LOOSE_V**2)
    return np.asarray(ended & (load_c > low) & (load_c < high))
