"""Readings gathered into short steps for the charge filter, all at once."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from analyzer.pack.cell_model import Cell, arrhenius
from analyzer.pack.chemistry import GAS_J_PER_MOL_K, LEAD, REFERENCE_C, Chemistry
from analyzer.pack.lead_acid_charge import CHARGER_V, accepted, charge_doubt, is_full
from analyzer.pack.soc_filter import (
    FAST,
    GAP,
    GAP_REACH,
    HYST,
    LN_Q,
    OFFSET,
    SHIFT,
    SLOW,
    SOC,
    STATES,
    WANDER,
    WANDER_REST_V,
    WANDER_S,
    Step,
)
from analyzer.series.derived import cell_temp_c, held_current_a, mean_cell_v
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S, ZERO_C_IN_K

if TYPE_CHECKING:
    from analyzer.pack.soc_state import ChargeState

Floats = npt.NDArray[np.float64]

STEP_S = 20.0
YEAR_H = 8766.0
AGEING_SD = 0.03  # by how much a year may change the capacity, relative; common practice, no source
COUNT_SD = 0.003  # of the charge moved: gain and timing, as a share
# Doubt of the activation energies; a changed temperature makes the resistances less sure. Published
# ones reach from 10 kJ/mol, where the ohmic part rules, to over 40 for charge transfer alone.
FAST_ENERGY_SD_J, SLOW_ENERGY_SD_J = 12e3, 15e3
# What is left of that doubt once one factor for r0 and r1 is learned: they part in the cold, by
# the difference of two such energies times their shares, a third and two thirds.
APART_ENERGY_J = 4e3
ENTROPY_SD_V_PER_K = 1e-4  # published entropy coefficients reach from -0.1 to 0.2 mV/K
LOST_C = 0.03  # sd of the current while it is not measured, as a share of Ah
BRIDGED_S = 2 * HOUR_S  # a gap up to this long: the load beside it most likely went on
BESIDE_S = 300.0


@dataclass
class Steps:
    """Per step (m): what the bank takes in. Per reading (n): its step and the circuit's losses.

    noise: variances added to the states, shape (m, states). at_top: shape (m,), charged at the top
    voltage with little current. by_charger: shape (m,), lead-acid's voltage is the charger's.
    """

    items: list[Step]
    noise: Floats
    at_top: npt.NDArray[np.bool_]
    step_of: npt.NDArray[np.int64]
    temp_c: Floats
    r0_v: Floats
    u1_v: Floats
    u2_v: Floats
    by_charger: npt.NDArray[np.bool_]


def followed(drive: Floats, keep: float, start: float) -> Floats:
    """First-order lag: y[k] = y[k-1]·keep + drive[k]·(1 - keep), from `start`. Shape (n,)."""
    out, y, take = [], start, 1.0 - keep
    for u in drive.tolist():
        y += (u - y) * take
        out.append(y)
    return np.array(out)


def prepare(
    series: Series,
    pack: Pack,
    cell: Cell,
    start: "ChargeState | None",
    gap_s: float,
    sense: float = 1.0,
) -> Steps:
    """All steps of a series.

    Args:
        start: State before the series, for the polarisation that is left of it.
        gap_s: Time between that state and the series. [s]
        sense: -1 where the shunt is the wrong way round.
    """
    kind, p, dt, n = cell.kind, cell.params, series.step_s, series.n
    temp = cell_temp_c(series, start.temp_c if start else 20.0)
    amps, lost = held_current_a(series)
    amps, lost_var = _bridged(sense * amps, lost, dt, p.capacity_ah)
    volts = mean_cell_v(series, pack)
    kept, doubt, blind = _charging(kind, -amps, volts, temp, p.capacity_ah)
    useful = np.where(amps < 0, amps * kept, amps)
    ohmic, cold = kind.ohmic_factor(temp), kind.charge_factor(temp)
    v1, v2 = _left_over(start, kind) if start else (0.0, 0.0)
    v1, v2 = v1 * np.exp(-gap_s / p.tau1_s), v2 * np.exp(-gap_s / p.tau2_s)
    r0_v = amps * p.r0_ohm * ohmic
    u1_v = followed(amps * p.r1_ohm * cold, float(np.exp(-dt / p.tau1_s)), float(v1))
    u2_v = followed(amps * p.r2_ohm * cold, float(np.exp(-dt / p.tau2_s)), float(v2))
    per = max(round(STEP_S / dt), 1)
    first = np.arange(0, n, per)
    step_of = np.arange(n) // per
    ok = np.isfinite(volts) & ~lost
    rows = _Sums(first, step_of, ok & ~blind)
    mean_v, mean_r0, mean_u1, mean_u2 = (rows.mean(a) for a in (volts, r0_v, u1_v, u2_v))
    charge = np.cumsum(useful) * dt
    dev = [rows.deviation(a) for a in (volts, r0_v, u1_v, charge)]
    pairs = [(0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (1, 3), (2, 3)]
    cov = np.column_stack([rows.total(dev[a] * dev[b]) for a, b in pairs])
    net = np.add.reduceat(useful, first) * dt if n else np.zeros(0)
    length = np.diff(np.append(first, n)) * dt
    lost_s = np.add.reduceat(lost.astype(float), first) * dt if n else np.zeros(0)
    lost_var = lost_var + charge_doubt(-amps, doubt, dt / HOUR_S, p.capacity_ah)
    lost_var = np.add.reduceat(lost_var, first) if n else np.zeros(0)
    keep, drift = _hysteresis(
        useful * dt, first, step_of, HOUR_S * p.capacity_ah * kind.gap_soc_frac
    )
    inverse = 1.0 / (temp + ZERO_C_IN_K) - 1.0 / (REFERENCE_C + ZERO_C_IN_K)
    apart = APART_ENERGY_J / GAS_J_PER_MOL_K * np.abs(inverse)
    items = [
        Step(q, s, lo, k, d, v, a, b, c, tuple(w), p.r0_ohm * f, g, h, e)
        for q, s, lo, k, d, v, a, b, c, w, f, g, h, e in zip(
            net.tolist(), length.tolist(), lost_s.tolist(), keep.tolist(), drift.tolist(),
            mean_v.tolist(), mean_r0.tolist(), mean_u1.tolist(), mean_u2.tolist(),
            cov.tolist(), ohmic[first].tolist(),
            arrhenius(temp[first], kind.gap_activation_j).tolist(),
            (kind.entropy_v_per_k * (temp[first] - 25.0)).tolist(),
            apart[first].tolist(), strict=True,
        )
    ]  # fmt: skip
    noise = _noise(cell, net, length, lost_var, keep)
    faded = 1 - np.exp(-2 * length / WANDER_S)
    usual_c = start.temp_c if start else REFERENCE_C
    turn = np.diff(1.0 / (np.r_[usual_c, temp[first]] + ZERO_C_IN_K)) / GAS_J_PER_MOL_K
    noise[:, FAST] += (FAST_ENERGY_SD_J * turn) ** 2
    warmer = np.diff(np.r_[usual_c, temp[first]])
    noise[:, SHIFT] += (ENTROPY_SD_V_PER_K * warmer) ** 2
    noise[:, SLOW] += (SLOW_ENERGY_SD_J * turn) ** 2
    swing = WANDER_REST_V + kind.wander * np.abs(np.nan_to_num(mean_u2))
    noise[:, WANDER] = swing**2 * faded
    tail = -net / np.maximum(length, 1e-9)
    top_v, top_r0, top_u1 = (_Sums(first, step_of, ok).mean(a) for a in (volts, r0_v, u1_v))
    rest_v = top_v + top_r0 + top_u1
    at_top = (rest_v >= kind.top_v) & (tail >= 0) & (tail < kind.full_tail_c * p.capacity_ah)
    if kind.name in LEAD:
        at_top |= is_full(top_v, tail, temp[first], p.capacity_ah)
    by_charger = np.logical_or.reduceat(blind, first) if n else blind
    return Steps(items, noise, at_top, step_of, temp, r0_v, u1_v, u2_v, by_charger)


def _charging(
    kind: Chemistry, charging_a: Floats, cell_v: Floats, temp_c: Floats, ah: float
) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Share of a charging current that stays, its standard deviation, and where the voltage is the
    charger's alone, (n,) each."""
    if kind.name not in LEAD:
        same = np.ones(len(charging_a))
        return kind.charge_efficiency * same, 0.0 * same, same < 0
    kept, doubt = accepted(kind.name, np.maximum(charging_a, 0.0), cell_v, temp_c, ah)
    return kept, doubt, (charging_a > 0) & (np.nan_to_num(cell_v) > CHARGER_V)


def _left_over(start: "ChargeState", kind: Chemistry) -> tuple[float, float]:
    """Polarisation that a state was left with, as the parameters have it at mid charge. [V]"""
    fast, slow = (np.interp(start.soc, kind.soc, t) for t in (kind.fast_shape, kind.slow_shape))
    return start.v1_v / (start.r_factor * fast), start.v2_v / (start.slow_factor * slow)


class _Sums:
    """Means and sums over steps of the readings that are there."""

    def __init__(
        self, first: npt.NDArray[np.int64], step_of: npt.NDArray[np.int64],
        ok: npt.NDArray[np.bool_],
    ) -> None:  # fmt: skip
        self.first, self.step_of, self.ok = first, step_of, ok
        self.count = self.total(np.ones(len(ok)))

    def total(self, values: Floats) -> Floats:
        if not len(values):
            return np.zeros(0)
        return np.asarray(np.add.reduceat(np.where(self.ok, values, 0.0), self.first))

    def mean(self, values: Floats) -> Floats:
        gone = self.count == 0
        return np.where(gone, np.nan, self.total(values) / np.where(gone, 1.0, self.count))

    def deviation(self, values: Floats) -> Floats:
        return np.asarray(values - self.mean(values)[self.step_of])


def _hysteresis(
    charge_as: Floats, first: npt.NDArray[np.int64], step_of: npt.NDArray[np.int64], scale_as: float
) -> tuple[Floats, Floats]:
    """keep and drift per step, so that hysteresis becomes keep * hysteresis + drift."""
    if not len(charge_as):
        return np.zeros(0), np.zeros(0)
    log_keep = -np.abs(charge_as) / scale_as
    total = np.cumsum(log_keep)
    at_end = total[np.append(first[1:], len(total)) - 1]
    later = np.exp(at_end[step_of] - total)
    drift = np.add.reduceat(-np.sign(charge_as) * (1 - np.exp(log_keep)) * later, first)
    return np.exp(np.add.reduceat(log_keep, first)), np.asarray(drift)


def _bridged(
    amps: Floats, lost: npt.NDArray[np.bool_], step_s: float, ah: float
) -> tuple[Floats, Floats]:
    """The current with its gaps bridged, and what each reading of a gap adds to the variance of
    the charge, (n,) both. What a long one adds is not a variance: `unseen.py`.

    In a short gap the load most likely goes on as on both sides of it; by how much it does not is
    one error for the whole gap, so that the doubt grows with its length, not with its root.
    """
    edges = np.flatnonzero(np.diff(np.r_[False, lost, False].astype(int)))
    amps, var, near = amps.copy(), np.zeros(len(amps)), max(round(BESIDE_S / step_s), 1)
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        sides = [
            float(part.mean()) if len(part) else 0.0
            for part in (amps[max(begin - near, 0) : begin], amps[end : end + near])
        ]
        if (end - begin) * step_s > BRIDGED_S:
            continue
        amps[begin:end] = 0.5 * (sides[0] + sides[1])
        sd_a = float(np.hypot(LOST_C * ah, max(abs(sides[0]), abs(sides[1]))))
        grown = (sd_a / ah * np.arange(end - begin + 1) * step_s / HOUR_S) ** 2
        var[begin:end] = np.diff(grown)
    return amps, var


def _noise(cell: Cell, net: Floats, length: Floats, lost_var: Floats, keep: Floats) -> Floats:
    """Variances added to the states in each step, shape (m, states)."""
    ah, kind = cell.params.capacity_ah, cell.kind
    hours = length / HOUR_S
    share = np.abs(net) / (HOUR_S * ah)
    noise = np.zeros((len(net), STATES))
    noise[:, SOC] = (COUNT_SD * share) ** 2 + 1e-8 * hours + lost_var
    noise[:, FAST] = 0.02**2 * hours
    noise[:, SLOW] = 0.05**2 * hours
    noise[:, OFFSET] = (0.0003 * ah) ** 2 * hours
    noise[:, LN_Q] = AGEING_SD**2 * hours / YEAR_H
    noise[:, GAP] = kind.gap_sd**2 * (1 - np.exp(-2 * share / GAP_REACH))
    noise[:, HYST] = kind.branch_sd**2 * (1 - keep * keep)
    return noise
