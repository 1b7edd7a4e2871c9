"""State of charge and how sure it is: charge counted, corrected by the cell's voltage.

The open-circuit curve itself is uncertain, so a flat stretch of it tells little and the range
stays as wide as it should; knees, a full charge and a long rest narrow it. The filter is a
bank of extended Kalman filters (`guesses.py`) that takes readings in steps of some seconds.
"""

from dataclasses import asdict, dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import mixture_quantile, tails
from analyzer.pack.cell_model import Cell, default_cell, label
from analyzer.pack.chemistry import LEAD
from analyzer.pack.lead_acid import recent_ah
from analyzer.pack.lead_acid_charge import FULL_SD as LEAD_FULL_SD
from analyzer.pack.lead_acid_charge import GIVES_C, SURFACE_S, SURFACE_V
from analyzer.pack.lead_acid_prior import RATES_PER_H
from analyzer.pack.shunt_sense import shunt_sense
from analyzer.pack.soc_after_gap import UNSEEN_S, told, unseen
from analyzer.pack.soc_filter import (
    CURVE,
    FAST,
    GAP,
    HYST,
    LN_Q,
    MOST,
    OFFSET,
    OFFSET_SD_C,
    SHIFT,
    SLOW,
    SOC,
    STATES,
    Guesses,
    Step,
)
from analyzer.pack.soc_inputs import (
    AGEING_SD,
    BRIDGED_S,
    LOST_C,
    STEP_S,
    YEAR_H,
    Steps,
    prepare,
)
from analyzer.pack.soc_state import (
    ChargeState,
    curve_error_v,
    kept,
    unfolded,
)
from analyzer.series.derived import cell_temp_c, mean_cell_v
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S

__all__ = ["Charge", "ChargeState", "cell_temp_c", "known", "mean_cell_v", "track"]

Floats = npt.NDArray[np.float64]

DEVICE_SD = 0.12  # of a charge that some device on board reports, at the start
FULL_SD = 0.017  # of each anchor: 1 % for a stay of half an hour at the top, which has three
FULL_HELD_S = 60.0
ANCHOR_EVERY_S = 600.0
TIDY_EVERY = 60  # steps
READING_SD_V = 0.002
UNSETTLED_V, SETTLE_S = 0.01, 900.0  # what load before the log began may add, and how it fades
DRIFT_LEAST = 0.005  # where the voltage says most


@dataclass(frozen=True)
class Charge:
    """The pack's charge over a series; arrays have the series' shape (n,), pack-level volts.

    Args:
        t_s: Seconds since the series' start.
        soc_frac, sd_frac: Mean and standard deviation.
        ocv_v: Open-circuit voltage of the pack, hysteresis included.
        v_r0, v_rc: Volts lost in the ohmic part and in the two pairs.
        final: State at the end.
        step_of, bank: For each reading its step; weight, mean and sd of each guess, (3, m, g).
    """

    t_s: Floats
    soc_frac: Floats
    sd_frac: Floats
    ocv_v: Floats
    v_r0: Floats
    v_rc: Floats
    final: ChargeState
    step_of: npt.NDArray[np.int64]
    bank: Floats

    def range_frac(self, coverage: float = 0.8) -> tuple[Floats, Floats]:
        """The range that holds the charge with this probability, per reading. [frac] (n,)"""
        weight, mean, sd = self.bank
        low, high = (mixture_quantile(weight, mean, sd, q) for q in tails(coverage))
        return low[self.step_of], high[self.step_of]


def known(
    pack: Pack, soc: float, sd: float, cell: Cell | None = None, t_us: int = 0
) -> ChargeState:
    """A start where somebody knows the charge: a bank about it, otherwise unlearned.

    Args:
        soc, sd: What is believed. [frac]
    """
    cell = cell or default_cell(pack)
    bank = Guesses(cell)
    if sd > 0.05:
        bank.logw -= 0.5 * ((bank.x[SOC] - soc) / sd) ** 2
        bank.logw -= bank.logw.max()
    else:
        bank.keep_only(np.arange(len(bank.logw)) == 0)
        bank.x[SOC, 0], bank.p[SOC, SOC, 0] = soc, sd * sd
    return _state(bank, pack, t_us, 0.0, 0.0, 25.0, _Left())


def track(
    series: Series, pack: Pack, start: ChargeState | None = None, cell: Cell | None = None
) -> Charge:
    """Follows the pack's charge over a series.

    Args:
        series: With pack_current_a and a voltage; temperature where there is one.
        pack: What the pack is.
        start: Where an earlier stretch ended; None: nothing is known but the cell.
        cell: What was learned of the cell; None: the chemistry's defaults.
    Returns:
        Charge per reading, and the state at the end.
    """
    if start is not None:
        cell = Cell.from_dict(start.cell)
    cell = cell or default_cell(pack)
    bank = Guesses(cell)
    gap_s = max((series.t0_us - start.t_us) / 1e6, 0.0) if start else 0.0
    left = _taken_up(bank, start, gap_s) if start else _Left()
    said = series.get("pack_soc_frac")
    said = said[np.isfinite(said)]
    if len(said) and start is None:
        bank.see_soc(float(said[0]), DEVICE_SD)
    elif len(said) and gap_s >= UNSEEN_S:
        told(bank, float(said[0]), DEVICE_SD)
    left.turned = turned(series, pack, start.turned if start else False)
    steps = prepare(series, pack, cell, start, gap_s, -1.0 if left.turned else 1.0)
    if cell.kind.name in LEAD:
        left.recent_ah = _drawn_of_late(steps, start.recent_ah if start else (), gap_s)
    trace = _run(bank, steps, left, series.t0_us)
    return _charge(series, pack, bank, steps, trace, left)


def _drawn_of_late(steps: Steps, before: tuple[float, ...], gap_s: float) -> tuple[float, ...]:
    """Charge drawn of late, faded at the rates at which lead-acid cells may level out. [Ah]"""
    rates = np.array(RATES_PER_H)
    left = np.exp(-rates * gap_s / HOUR_S) * (np.array(before) if before else 0.0)
    charge_as = np.array([step.charge_as for step in steps.items])
    if not len(charge_as):
        return tuple(left.tolist())
    amps = charge_as / np.maximum([step.length_s for step in steps.items], 1e-9)
    found = recent_ah(amps, steps.items[0].length_s / HOUR_S, rates, left)
    return tuple(found.tolist())


def turned(series: Series, pack: Pack, before: bool = False) -> bool:
    """Whether the shunt is the wrong way round: the voltage rises when the pack is said to give.

    Means over the filter's steps are compared, so that frames that come seconds apart do no harm.

    Args:
        before: What is believed where the series cannot say.
    """
    size = max(round(STEP_S / series.step_s), 1)
    if series.n < 2 * size:
        return before
    whole = series.n // size * size
    volts, amps = (
        v[:whole].reshape(-1, size).mean(axis=1)
        for v in (mean_cell_v(series, pack), series.get("pack_current_a"))
    )
    verdict = shunt_sense(volts, amps, size * series.step_s, pack.rated_capacity_ah).verdict
    return before if verdict == "cannot say" else verdict == "wrong"


@dataclass
class _Left:
    """What goes on from one stretch to the next beside the bank; see `ChargeState`."""

    unsettled_v: float = UNSETTLED_V
    drift_sd: float = 0.0
    full_us: int | None = None
    turned: bool = False
    unseen_s: float = 0.0
    recent_ah: tuple[float, ...] = ()
    settle_s: float = SETTLE_S

    def charged(self, step: Step, by_charger: bool, ah: float) -> None:
        """Lead-acid plates hold what a charge left on them until they give or rest long."""
        if by_charger:
            self.unsettled_v, self.settle_s = SURFACE_V, SURFACE_S
        elif step.charge_as > GIVES_C * ah * step.length_s:
            self.settle_s = SETTLE_S

    def after_nothing_seen(self, bank: Guesses, gap_s: float) -> None:
        """Goes on after a time without readings that was too long to bridge."""
        unseen(bank, gap_s, self.drift_sd)
        self.drift_sd, self.unsettled_v, self.unseen_s = 0.0, UNSETTLED_V, gap_s

    def pass_time(self, length_s: float, bank: Guesses, soc: float) -> None:
        """Lets load of before fade, and what counting alone would lose add up.

        The voltage sets a bound to the latter: the curve's doubt and half its gap, over its
        slope. The filter itself takes errors of curve and gap for passing ones; they are not.
        """
        self.unsettled_v *= float(np.exp(-length_s / self.settle_s))
        _, slope, gap, *_ = bank.table[:, bank.row(soc)]
        bound = float(np.hypot(bank.kind.shape_sd_v, gap)) / max(float(slope), 1e-3)
        grown = self.drift_sd + OFFSET_SD_C * length_s / HOUR_S
        self.drift_sd = min(grown, max(bound, DRIFT_LEAST))


@dataclass
class _Trace:
    """Per step: mean of each state (m, 10), sd of the charge (m,), guesses (3, m, g)."""

    mean: Floats
    sd: Floats
    bank: Floats


def _run(bank: Guesses, steps: Steps, left: _Left, t0_us: int) -> _Trace:
    count = len(steps.items)
    trace = _Trace(np.zeros((count, STATES)), np.zeros(count), np.zeros((3, count, MOST + 4)))
    last_anchor_s = -np.inf if left.full_us is None else (left.full_us - t0_us) / 1e6
    held_s = now_s = lost_s = 0.0
    for k, step in enumerate(steps.items):
        if step.lost_s < 0.5 * step.length_s:
            if lost_s > BRIDGED_S:
                left.after_nothing_seen(bank, lost_s)
            lost_s = 0.0
        lost_s += step.lost_s
        bank.advance(step, steps.noise[k])
        now_s += step.length_s
        left.charged(step, steps.by_charger[k], bank.ah)
        if step.volts == step.volts:
            bank.see_voltage(step, max(bank.kind.lasts_s / step.length_s, 1.0), left.unsettled_v**2)
            bank.see_changes(step, READING_SD_V)
        if step.volts == step.volts or steps.by_charger[k]:
            held_s = held_s + step.length_s if steps.at_top[k] else 0.0
            if held_s >= FULL_HELD_S and now_s - last_anchor_s >= ANCHOR_EVERY_S:
                bank.see_soc(1.0, LEAD_FULL_SD if bank.kind.name in LEAD else FULL_SD)
                last_anchor_s, left.drift_sd, left.unseen_s = now_s, 0.0, 0.0
                left.full_us = t0_us + round(now_s * 1e6)
        if k % TIDY_EVERY == TIDY_EVERY - 1:
            bank.tidy()
        w = bank.weights()
        mean = trace.mean[k] = bank.x @ w
        left.pass_time(step.length_s, bank, float(mean[SOC]))
        charge, var = bank.x[SOC], bank.p[SOC, SOC]
        own = float(w @ (var + (charge - mean[SOC]) ** 2))
        more = left.drift_sd**2
        trace.sd[k] = (own + more) ** 0.5
        trace.bank[:, k, : len(w)] = w, charge, (var + more) ** 0.5
    if lost_s > BRIDGED_S:
        left.after_nothing_seen(bank, lost_s)
    bank.tidy()
    return trace


def _taken_up(bank: Guesses, start: ChargeState, gap_s: float) -> _Left:
    """Loads what an earlier stretch left, some time after it."""
    left = _Left(start.unsettled_v, start.drift_sd, start.full_us, unseen_s=start.unseen_s)
    bank.load(start.bank["weight"], start.bank["mean"], unfolded(start.bank["cov"]))
    bank.p[LN_Q, LN_Q] += AGEING_SD**2 * gap_s / HOUR_S / YEAR_H
    if gap_s < UNSEEN_S:
        bank.p[SOC, SOC] += (LOST_C * gap_s / HOUR_S) ** 2
    else:
        left.after_nothing_seen(bank, gap_s)
    return left


def _charge(
    series: Series, pack: Pack, bank: Guesses, steps: Steps, trace: _Trace, left: _Left
) -> Charge:
    kind, cells = bank.kind, pack.cells_in_series
    of = steps.step_of
    temp = steps.temp_c
    mean = trace.mean[of] if series.n else np.zeros((0, STATES))
    soc = np.clip(mean[:, SOC], 0.0, 1.0)
    fast = np.exp(mean[:, FAST]) * np.interp(soc, kind.soc, kind.fast_shape)
    slow = np.exp(mean[:, SLOW]) * np.interp(soc, kind.soc, kind.slow_shape)
    branch = np.clip(mean[:, HYST], -1, 1) * np.maximum(1.0 + mean[:, GAP], 0.1)
    ocv = kind.ocv_v(soc, temp, branch) + mean[:, SHIFT] + curve_error_v(soc, mean[:, CURVE:])
    last = series.n - 1
    final = _state(
        bank,
        pack,
        series.t0_us + round(series.n * series.step_s * 1e6),
        float(steps.u1_v[last] * fast[last]) if series.n else 0.0,
        float(steps.u2_v[last] * slow[last]) if series.n else 0.0,
        float(temp[last]) if series.n else 20.0,
        left,
    )
    return Charge(
        t_s=series.t_s,
        soc_frac=soc,
        sd_frac=trace.sd[of] if series.n else np.zeros(0),
        ocv_v=ocv * cells,
        v_r0=fast * steps.r0_v * cells,
        v_rc=(fast * steps.u1_v + slow * steps.u2_v) * cells,
        final=final,
        step_of=of,
        bank=trace.bank,
    )


def _state(
    bank: Guesses, pack: Pack, t_us: int, v1_v: float, v2_v: float, temp_c: float, left: _Left
) -> ChargeState:
    mean, var = bank.mean_var()
    var[SOC] += left.drift_sd**2
    sd = np.sqrt(var)
    fast, ah = float(np.exp(mean[FAST])), bank.ah * float(np.exp(mean[LN_Q]))
    return ChargeState(
        t_us=t_us,
        soc=float(np.clip(mean[SOC], 0, 1)),
        sd=float(sd[SOC]),
        v1_v=v1_v,
        v2_v=v2_v,
        hysteresis=float(np.clip(mean[HYST], -1, 1)),
        offset_a=float(mean[OFFSET]),
        offset_sd_a=float(sd[OFFSET]),
        r_factor=fast,
        r_factor_sd=fast * float(sd[FAST]),
        slow_factor=float(np.exp(mean[SLOW])),
        capacity_ah=ah,
        capacity_sd_ah=ah * float(sd[LN_Q]),
        temp_c=temp_c,
        unsettled_v=left.unsettled_v,
        drift_sd=left.drift_sd,
        cell={**bank.cell.to_dict(), "params": asdict(bank.cell.params)},
        bank=kept(bank),
        full_us=left.full_us,
        turned=left.turned,
        unseen_s=left.unseen_s,
        recent_ah=left.recent_ah,
        label=label(pack),
    )
