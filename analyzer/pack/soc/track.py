"""State of charge and how sure it is: charge counted, corrected by the cell's voltage.

The open-circuit curve itself is uncertain, so a flat stretch of it tells little and the range
stays as wide as it should; knees, a full charge and a long rest narrow it. The filter is a Gaussian
mixture of extended Kalman filters (`filter.py`) that takes readings in steps of some seconds.
"""

from dataclasses import asdict, dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import mixture_quantile, tails
from analyzer.pack.cell_model import Cell, default_cell, label
from analyzer.pack.chemistry import LEAD, Chemistry
from analyzer.pack.curves.doubt import EMPTY_SD
from analyzer.pack.lead_acid.prior import RATES_PER_H
from analyzer.pack.lead_acid.wells import recent_ah
from analyzer.pack.soc import states
from analyzer.pack.soc.after_gap import LONG_GAP_S, weigh_by_gauge
from analyzer.pack.soc.carried import Carried
from analyzer.pack.soc.filter import MOST_COMPONENTS, STRETCHES, GaussianMixtureFilter
from analyzer.pack.soc.inputs import filter_inputs
from analyzer.pack.soc.noise import AGEING_SD, READING_SD_V, YEAR_H
from analyzer.pack.soc.state import (
    PackPosterior,
    curve_error_v,
    pack_mixture,
    unpack_covariance,
)
from analyzer.pack.soc.states import LN_Q, SOC, STATES, FilterInputs, FilterStep, Floats
from analyzer.pack.soc.terminal_current import BESIDE_S, BRIDGED_S, load_between
from analyzer.pack.soc.upright import sign_reversed
from analyzer.series.series import Series
from logger.boat import Pack
from logger.units import HOUR_S

GAUGE_SD = 0.12  # of a charge that some device on board reports, at the start; assumed
SAME_FULL_SD = 0.006  # by how much one boat's charges end at different places; assumed
FULL_HELD_S = 60.0  # at the top before it counts as full; assumed
ANCHOR_EVERY_S = 600.0  # between two anchors of one stay at the top; assumed
PRUNE_EVERY = 60  # steps, for the time it takes; assumed
SURE_SD = 0.05  # of a charge: below, one component holds it; assumed


@dataclass(frozen=True)
class Charge:
    """The pack's charge over a series; arrays have the series' shape (n,), pack-level volts.

    Args:
        t_s: Seconds since the series' start.
        soc_frac, sd_frac: Mean and standard deviation.
        ocv_v: Open-circuit voltage of the pack, hysteresis included.
        v_r0, v_rc: Volts lost in the ohmic part and in the two pairs.
        final: Posterior at the end.
        step_of: For each reading its filter step.
        components: Weight, mean and sd of the charge of each component, per step, (3, m, g).
    """

    t_s: Floats
    soc_frac: Floats
    sd_frac: Floats
    ocv_v: Floats
    v_r0: Floats
    v_rc: Floats
    final: PackPosterior
    step_of: npt.NDArray[np.int64]
    components: Floats

    def range_frac(self, coverage: float = 0.8) -> tuple[Floats, Floats]:
        """The range that holds the charge with this probability, per reading. [frac] (n,)"""
        weight, mean, sd = self.components
        low, high = (mixture_quantile(weight, mean, sd, q) for q in tails(coverage))
        return low[self.step_of], high[self.step_of]


def known(
    pack: Pack, soc: float, sd: float, cell: Cell | None = None, t_us: int = 0
) -> PackPosterior:
    """A start where somebody knows the charge: a mixture about it, otherwise unlearned.

    Args:
        soc, sd: Mean and standard deviation of that. [frac]
    """
    mixture = GaussianMixtureFilter(cell or default_cell(pack), anywhere=True)
    # a wide normal distribution on a bent curve would be linearised at one wrong place
    if sd > SURE_SD:
        mixture.log_weight -= 0.5 * ((mixture.mean[SOC] - soc) / sd) ** 2
        mixture.log_weight -= mixture.log_weight.max()
    else:
        # one stretch of each part of the packs in service, put where the charge is
        mixture.keep(np.arange(len(mixture.log_weight)) % STRETCHES == 0)
        mixture.mean[SOC] = soc
        mixture.cov[SOC, SOC] = sd * sd
    return _posterior(mixture, pack, t_us, CircuitEnd(), Carried())


def track(
    series: Series, pack: Pack, start: PackPosterior | None = None, cell: Cell | None = None
) -> Charge:
    """Follows the pack's charge over a series.

    Args:
        series: With pack_current_a and a voltage; temperature where there is one.
        pack: What the pack is.
        start: Where an earlier stretch ended; None: nothing is known but the cell.
        cell: What was learned of the cell; None: the chemistry's defaults.
    Returns:
        Charge per reading, and the posterior at the end.
    """
    return _charge(series, pack, _follow(series, pack, start, cell))


def advance(series: Series, pack: Pack, start: PackPosterior | None) -> PackPosterior:
    """The posterior at a series' end alone, as `track` has it; for who asks minute by minute."""
    return _final(series, pack, _follow(series, pack, start))


@dataclass(frozen=True)
class _Followed:
    """The filter after a series, what went into it, its trace and what it carries on."""

    mixture: GaussianMixtureFilter
    inputs: FilterInputs
    trace: "_Trace"
    carried: Carried


def _follow(
    series: Series, pack: Pack, start: PackPosterior | None, cell: Cell | None = None
) -> _Followed:
    """The filter over a series. Arguments as for `track`."""
    if start is not None:
        cell = Cell.from_dict(start.cell)
    cell = cell or default_cell(pack)
    left = (*start.mixture[:2], unpack_covariance(start.mixture[2])) if start else None
    mixture = GaussianMixtureFilter(cell, start=left)
    # clocks may step back: time between two stretches is never negative
    gap_s = max((series.t0_us - start.t_us) / 1e6, 0.0) if start else 0.0
    turned_round = sign_reversed(series, pack, start.sign_reversed if start else False)
    inputs = filter_inputs(series, pack, cell, start, gap_s, -1.0 if turned_round else 1.0)
    carried = _resume(mixture, start, gap_s, inputs) if start else Carried()
    _hear_gauge(mixture, series, start, gap_s)
    carried.sign_reversed = turned_round
    if cell.kind.name in LEAD:
        carried.recent_ah = _drawn_of_late(inputs, start.recent_ah if start else (), gap_s)
    trace = _run(mixture, inputs, carried, series.t0_us)
    return _Followed(mixture, inputs, trace, carried)


def _resume(
    mixture: GaussianMixtureFilter, start: PackPosterior, gap_s: float, inputs: FilterInputs
) -> Carried:
    """Goes on from what an earlier stretch left, some time after it."""
    carried = Carried(
        start.initial_polarisation_sd_v, start.drift_sd, start.full_us, gap_s=start.gap_s
    )
    carried.emptied = start.emptied
    # A pack ages while nobody looks: its capacity is less sure afterwards.
    mixture.cov[LN_Q, LN_Q] += AGEING_SD**2 * gap_s / HOUR_S / YEAR_H
    if gap_s <= BRIDGED_S:
        _count_on(mixture, gap_s, start.load_a, _load_a(inputs, at_end=False))
    # after a longer one something else may have happened besides
    if gap_s >= LONG_GAP_S:
        carried.pass_gap(mixture, gap_s)
    return carried


def _count_on(
    mixture: GaussianMixtureFilter, gap_s: float, before_a: float, after_a: float
) -> None:
    """Counts on over a short silence, as over one within a series: the loads beside it went on."""
    amps, sd_a = load_between(before_a, after_a, mixture.ah)
    # By each component's own capacity: the same ampere-hours are another share of each.
    per_a = gap_s / HOUR_S / (mixture.ah * np.exp(mixture.mean[LN_Q]))
    mixture.mean[SOC] -= amps * per_a
    mixture.cov[SOC, SOC] += (sd_a * per_a) ** 2


def _load_a(inputs: FilterInputs, at_end: bool) -> float:
    """Mean current of a series' first or last five minutes; none without readings. [A]"""
    length_s, charge_as = inputs.length_s, inputs.charge_as
    if not len(length_s):
        return 0.0
    count = max(round(BESIDE_S / float(length_s[0])), 1)
    part = slice(-count, None) if at_end else slice(count)
    return float(charge_as[part].sum() / max(float(length_s[part].sum()), 1e-9))


def _hear_gauge(
    mixture: GaussianMixtureFilter, series: Series, start: PackPosterior | None, gap_s: float
) -> None:
    """A device's own charge is heard at the very start, and where readings were missed."""
    reported = series.get("pack_soc_frac")
    reported = reported[np.isfinite(reported)]
    if len(reported) and start is None:
        mixture.update_soc(float(reported[0]), GAUGE_SD)
    # heard while the shunt is, it would be counted twice: most gauges count by the same shunt
    elif len(reported) and gap_s >= LONG_GAP_S:
        weigh_by_gauge(mixture, float(reported[0]), GAUGE_SD)


def _drawn_of_late(
    inputs: FilterInputs, before: tuple[float, ...], gap_s: float
) -> tuple[float, ...]:
    """Charge drawn of late, faded at the rates at which lead-acid cells may level out. [Ah]"""
    rates = np.array(RATES_PER_H)
    left = np.exp(-rates * gap_s / HOUR_S) * (np.array(before) if before else 0.0)
    # a stretch without readings only fades what was drawn before
    if not len(inputs.charge_as):
        return tuple(left.tolist())
    amps = inputs.charge_as / np.maximum(inputs.length_s, 1e-9)
    found = recent_ah(amps, inputs.length_s[0] / HOUR_S, rates, left)
    return tuple(found.tolist())


class _Trace:
    """Per step: mean of each state (m, states), sd of the charge (m,), components (3, m, g)."""

    def __init__(self, steps: int) -> None:
        self.mean, self.sd = np.zeros((steps, STATES)), np.zeros(steps)
        self.components = np.zeros((3, steps, MOST_COMPONENTS + 4))

    def record(self, k: int, mixture: GaussianMixtureFilter, drift_var: float) -> None:
        """Step k; what counting may have lost is added to the charge's variance."""
        # law of total variance over the components
        weight = mixture.weights()
        charge, var = mixture.mean[SOC], mixture.cov[SOC, SOC]
        own = float(weight @ (var + (charge - self.mean[k, SOC]) ** 2))
        self.sd[k] = (own + drift_var) ** 0.5
        self.components[:, k, : len(weight)] = weight, charge, (var + drift_var) ** 0.5


class _FullAnchor:
    """Takes a stay at the top of charge for full, once in `ANCHOR_EVERY_S`."""

    def __init__(self, full_us: int | None, t0_us: int) -> None:
        self.t0_us, self.held_s = t0_us, 0.0
        self.last_s = -np.inf if full_us is None else (full_us - t0_us) / 1e6

    def update(self, now_s: float, length_s: float, at_top: bool) -> bool:
        """Whether the pack is full by now."""
        self.held_s = self.held_s + length_s if at_top else 0.0
        # One stay at the top is one piece of evidence, however long it lasts.
        full = self.held_s >= FULL_HELD_S and now_s - self.last_s >= ANCHOR_EVERY_S
        self.last_s = now_s if full else self.last_s
        return full


def _run(
    mixture: GaussianMixtureFilter, inputs: FilterInputs, carried: Carried, t0_us: int
) -> _Trace:
    """The filter over all steps: prediction, updates, anchors, pruning."""
    trace = _Trace(len(inputs.charge_as))
    anchor = _FullAnchor(carried.full_us, t0_us)
    now_s, lost_s = 0.0, 0.0
    for k, step in enumerate(inputs.steps()):
        # a silence is judged when it is over, by all of its length
        if step.lost_s < 0.5 * step.length_s:
            if lost_s > BRIDGED_S:
                carried.pass_gap(mixture, lost_s)
            lost_s = 0.0
        lost_s += step.lost_s
        mixture.predict(step, inputs.noise[k])
        now_s += step.length_s
        by_charger = bool(inputs.by_charger[k])
        carried.hold_surface_charge(step, by_charger, mixture.ah)
        carried.keep_room(step, mixture)
        # under a charger the voltage is no evidence, but its end is
        measured = _update(mixture, step, carried) or by_charger
        if measured and anchor.update(now_s, step.length_s, bool(inputs.at_top[k])):
            # NMC is often charged to 80 or 90 % on purpose: there the curve alone tells
            full_soc = float(inputs.full_soc[k])
            if full_soc == full_soc:
                mixture.update_full(full_soc, SAME_FULL_SD)
            carried.be_full(t0_us + round(now_s * 1e6))
        if carried.is_emptied_by(step, bool(inputs.at_bottom[k])):
            mixture.update_soc(0.0, EMPTY_SD)
        if k % PRUNE_EVERY == PRUNE_EVERY - 1:
            mixture.prune_and_split()
        trace.mean[k] = mixture.mean @ mixture.weights()
        carried.pass_time(step.length_s, mixture, float(trace.mean[k, SOC]))
        trace.record(k, mixture, carried.drift_sd**2)
    # A series may end in a silence, after which no step comes to judge it.
    if lost_s > BRIDGED_S:
        carried.pass_gap(mixture, lost_s)
    mixture.prune_and_split()
    return trace


def _update(mixture: GaussianMixtureFilter, step: FilterStep, carried: Carried) -> bool:
    """Updates with a step's voltage; whether it has one."""
    if step.mean_v != step.mean_v:
        return False
    # an error of the circuit lasts for minutes: so many steps are one measurement
    error_steps = max(mixture.kind.lasts_s / step.length_s, 1.0)
    mixture.update_voltage(step, error_steps, carried.initial_polarisation_sd_v**2)
    mixture.update_resistance(step, READING_SD_V)
    return True


@dataclass(frozen=True)
class CircuitEnd:
    """Both pairs' voltages, the cell's temperature and the load at a moment. [V], [°C], [A]"""

    v1_v: float = 0.0
    v2_v: float = 0.0
    temp_c: float = 25.0
    load_a: float = 0.0


def _charge(series: Series, pack: Pack, followed: _Followed) -> Charge:
    """Reading by reading from the steps' trace, and the posterior at the end."""
    trace, losses = followed.trace, followed.inputs.losses
    kind, cells, of = followed.mixture.kind, pack.cells_in_series, followed.inputs.step_of
    mean = trace.mean[of] if series.n else np.zeros((0, STATES))
    soc, fast, slow = _resistances(kind, mean)
    hyst = np.clip(mean[:, states.HYST], -1, 1) * np.maximum(1.0 + mean[:, states.GAP], 0.1)
    ocv = kind.ocv_v(soc, losses.temp_c, hyst) + mean[:, states.SHIFT]
    ocv = ocv + curve_error_v(soc, mean[:, states.CURVE :])
    u1_v, u2_v = fast * losses.u1_v, slow * losses.u2_v
    return Charge(
        t_s=series.t_s,
        soc_frac=soc,
        sd_frac=trace.sd[of] if series.n else np.zeros(0),
        ocv_v=ocv * cells,
        v_r0=fast * losses.r0_v * cells,
        v_rc=(u1_v + u2_v) * cells,
        final=_final(series, pack, followed),
        step_of=of,
        components=trace.components,
    )


def _resistances(kind: Chemistry, mean: Floats) -> tuple[Floats, Floats, Floats]:
    """Charge, and what the fast and the slow resistance are over the parameters' there, (n,) each.

    mean: Of the states, (n, states).
    """
    soc = np.clip(mean[:, SOC], 0.0, 1.0)
    fast = np.exp(mean[:, states.FAST]) * np.interp(soc, kind.soc, kind.fast_shape)
    slow = np.exp(mean[:, states.SLOW]) * np.interp(soc, kind.soc, kind.slow_shape)
    return soc, fast, slow


def _final(series: Series, pack: Pack, followed: _Followed) -> PackPosterior:
    """The posterior at a series' end."""
    inputs, losses = followed.inputs, followed.inputs.losses
    end = CircuitEnd(temp_c=20.0)
    if series.n:
        last = followed.trace.mean[inputs.step_of[-1:]]
        _, fast, slow = _resistances(followed.mixture.kind, last)
        pairs_v = float(fast[0] * losses.u1_v[-1]), float(slow[0] * losses.u2_v[-1])
        end = CircuitEnd(*pairs_v, float(losses.temp_c[-1]), _load_a(inputs, at_end=True))
    end_us = series.t0_us + round(series.n * series.step_s * 1e6)
    return _posterior(followed.mixture, pack, end_us, end, followed.carried)


def _posterior(
    mixture: GaussianMixtureFilter, pack: Pack, t_us: int, end: CircuitEnd, carried: Carried
) -> PackPosterior:
    """What goes on from here."""
    mean, var = mixture.mean_var()
    # what counting may have lost stands beside the filter's own doubt
    var[SOC] += carried.drift_sd**2
    sd = np.sqrt(var)
    r_factor, ah = float(np.exp(mean[states.FAST])), mixture.ah * float(np.exp(mean[LN_Q]))
    return PackPosterior(
        t_us=t_us,
        soc=float(np.clip(mean[SOC], 0, 1)),
        sd=float(sd[SOC]),
        v1_v=end.v1_v,
        v2_v=end.v2_v,
        hysteresis=float(np.clip(mean[states.HYST], -1, 1)),
        offset_a=float(mean[states.OFFSET]),
        offset_sd_a=float(sd[states.OFFSET]),
        r_factor=r_factor,
        r_factor_sd=r_factor * float(sd[states.FAST]),
        slow_factor=float(np.exp(mean[states.SLOW])),
        capacity_ah=ah,
        capacity_sd_ah=ah * float(sd[LN_Q]),
        temp_c=end.temp_c,
        initial_polarisation_sd_v=carried.initial_polarisation_sd_v,
        drift_sd=carried.drift_sd,
        cell={**mixture.cell.to_dict(), "params": asdict(mixture.cell.params)},
        mixture=pack_mixture(mixture),
        full_us=carried.full_us,
        sign_reversed=carried.sign_reversed,
        gap_s=carried.gap_s,
        recent_ah=carried.recent_ah,
        emptied=carried.emptied,
        load_a=end.load_a,
        label=label(pack),
    )
