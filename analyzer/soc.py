"""State of charge and how sure it is: a bank of extended Kalman filters on the cell's circuit.

Charge is counted; the cell's voltage corrects the count as far as the curve's slope allows.
The open-circuit curve itself is uncertain (two states), so a flat stretch of it tells little
and the range stays as wide as it should. The bank holds several guesses of the charge, so that
a wrong start does not mislead the linearised filter.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.pack import CellParams, Chemistry, chemistry, default_params
from analyzer.series import Series
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

# Order of the filter's states.
SOC, BIAS, SHAPE, LN_R, OFFSET, LN_Q, HYST = range(7)
STATES = 7
STEP_S = 10.0  # readings are gathered into steps of this length
GUESSES = 15
UNKNOWN_CURRENT_C = 0.03  # sd of the current while nothing was measured, as a share of Ah


@dataclass(frozen=True)
class ChargeState:
    """Where the pack stands, per mean cell; JSON-able, so that a log can keep it.

    Args:
        t_us: On the log's timeline. [µs]
        soc, sd: Mean and standard deviation. [frac]
        v1_v, v2_v: Polarisation voltages of the two pairs. [V]
        hysteresis: -1 to 1.
        offset_a, offset_sd_a: What the shunt reads too much. [A]
        r_factor, r_factor_sd: Resistance over the parameters'.
        capacity_ah, capacity_sd_ah: [Ah]
        temp_c: [°C]
        params: Equivalent circuit the factors belong to.
        bank: Weights, means and covariances of the guesses.
    """

    t_us: int
    soc: float
    sd: float
    v1_v: float
    v2_v: float
    hysteresis: float
    offset_a: float
    offset_sd_a: float
    r_factor: float
    r_factor_sd: float
    capacity_ah: float
    capacity_sd_ah: float
    temp_c: float
    params: dict[str, float]
    bank: dict[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Plain dict of numbers, strings, lists and dicts."""
        return dict(self.__dict__)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "ChargeState":
        """The state that `to_dict` gave."""
        return cls(**data)

    def draws(self, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Equally likely states of the mean cell.

        Returns:
            Arrays of shape (n,): soc, capacity_ah, r0_ohm, r1_ohm, r2_ohm (at 25 °C), tau1_s,
            tau2_s, v1_v, v2_v, hysteresis, ocv_shift_v, temp_c.
        """
        weight, mean, cov = (np.asarray(self.bank[k]) for k in ("weight", "mean", "cov"))
        pick = rng.choice(len(weight), size=n, p=weight / weight.sum())
        root = np.linalg.cholesky(cov + 1e-14 * np.eye(STATES))
        x = mean[pick] + np.einsum("nij,nj->ni", root[pick], rng.standard_normal((n, STATES)))
        factor = np.exp(x[:, LN_R])
        same = np.ones(n)
        p = self.params
        return {
            "soc": np.clip(x[:, SOC], 0.0, 1.0),
            "capacity_ah": p["capacity_ah"] * np.exp(x[:, LN_Q]),
            "r0_ohm": p["r0_ohm"] * factor,
            "r1_ohm": p["r1_ohm"] * factor,
            "r2_ohm": p["r2_ohm"] * factor,
            "tau1_s": p["tau1_s"] * same,
            "tau2_s": p["tau2_s"] * same,
            "v1_v": self.v1_v * factor / self.r_factor,
            "v2_v": self.v2_v * factor / self.r_factor,
            "hysteresis": np.clip(x[:, HYST], -1.0, 1.0),
            "ocv_shift_v": x[:, BIAS] + x[:, SHAPE],
            "temp_c": self.temp_c * same,
        }


@dataclass(frozen=True)
class Charge:
    """The pack's charge over a series; arrays have the series' shape (n,), pack-level volts.

    Args:
        t_s: Seconds since the series' start.
        soc_frac, sd_frac: Mean and standard deviation.
        ocv_v: Open-circuit voltage of the pack, hysteresis included.
        v_r0, v_rc: Volts lost in the ohmic part and in the two pairs.
        final: State at the end.
    """

    t_s: Floats
    soc_frac: Floats
    sd_frac: Floats
    ocv_v: Floats
    v_r0: Floats
    v_rc: Floats
    final: ChargeState


def mean_cell_v(series: Series, pack: Pack) -> Floats:
    """Voltage of the mean cell: from the pack's voltage, else from cells or blocks. [V] (n,)"""
    count = pack.cells_in_series
    if series.has("pack_voltage_v"):
        return series.get("pack_voltage_v") / count
    cells = [cell_voltage(i) for i in range(1, count + 1)]
    if series.has(*cells):
        return np.asarray(np.mean([series.get(c) for c in cells], axis=0))
    blocks = [block_voltage(i) for i in range(1, (pack.blocks_in_series or 0) + 1)]
    if blocks and series.has(*blocks):
        return np.asarray(np.sum([series.get(b) for b in blocks], axis=0)) / count
    return np.full(series.n, np.nan)


def cell_temp_c(series: Series, fallback_c: float = 20.0) -> Floats:
    """Temperature of the cells, as measured, else held, else `fallback_c`. [°C] (n,)"""
    names = [n for n in series.values if n.endswith("_temp_c") and n[:4] in ("cell", "bloc")]
    for name in ["pack_temp_c", *sorted(names), "ambient_temp_c"]:
        if series.has(name):
            return _filled(series.get(name), fallback_c)
    return np.full(series.n, fallback_c)


def _filled(values: Floats, first: float) -> Floats:
    ok = np.isfinite(values)
    index = np.maximum.accumulate(np.where(ok, np.arange(len(values)), -1))
    start = float(values[ok][0]) if ok.any() else first
    return np.where(index >= 0, values[np.maximum(index, 0)], start)


def _decayed(drive: Floats, decay: Floats, start: float) -> list[float]:
    """y[k] = y[k-1]·decay[k] + drive[k]·(1 - decay[k]), from `start`."""
    out, y = [], start
    for u, a in zip(drive.tolist(), decay.tolist(), strict=True):
        y = u + (y - u) * a
        out.append(y)
    return out


@dataclass
class _Inputs:
    """What a filter run is fed, per reading (n,) and per step (m,)."""

    unit_v: Floats  # loss by the parameters as they stand, r_factor 1
    r0_v: Floats
    first: npt.NDArray[np.int64]  # index of each step's first reading


class Tracker:
    """One pass of the bank over a series; see the module's text."""

    def __init__(self, pack: Pack, params: CellParams, kind: Chemistry) -> None:
        self.pack, self.params, self.kind = pack, params, kind
        self.ah = params.capacity_ah
        self.fine = np.linspace(-0.2, 1.2, 1401)
        self.slope = np.gradient(kind.ocv_v(self.fine), self.fine)
        # Outside 0..1 the curve goes on, so that a guess is pushed back inside.
        self.curve = kind.ocv_v(self.fine) + 4.0 * np.where(
            self.fine < 0, self.fine, np.where(self.fine > 1, self.fine - 1, 0.0)
        )
        self.slope = np.gradient(self.curve, self.fine)

    def fresh(self) -> None:
        """A bank that knows nothing but the chemistry."""
        kind = self.kind
        self.x = np.zeros((GUESSES, STATES))
        self.x[:, SOC] = (np.arange(GUESSES) + 0.5) / GUESSES
        sd = np.array([0.6 / GUESSES, kind.curve_sd_v, kind.shape_sd_v, 0.35,
                       0.003 * self.ah, 0.08, 0.7])  # fmt: skip
        self.p = np.repeat(np.diag(sd**2)[None], GUESSES, axis=0)
        self.logw = np.zeros(GUESSES)

    def resume(self, state: ChargeState) -> None:
        """The bank as an earlier run left it."""
        self.x = np.array(state.bank["mean"])
        self.p = np.array(state.bank["cov"])
        self.logw = np.log(np.maximum(np.array(state.bank["weight"]), 1e-12))

    def advance(self, dq_as: float, dt_s: float, keep: float, drift: float, lost_s: float) -> None:
        """Moves the bank on by one step.

        Args:
            dq_as: Charge given, by the shunt. [A s]
            dt_s: Length. [s]
            keep, drift: Hysteresis becomes keep * hysteresis + drift.
            lost_s: Time in the step without a current reading. [s]
        """
        x, p = self.x, self.p
        full_as = HOUR_S * self.ah * np.exp(x[:, LN_Q])
        moved = (dq_as - x[:, OFFSET] * dt_s) / full_as
        x[:, SOC] -= moved
        x[:, HYST] = keep * x[:, HYST] + drift
        same = np.exp(-abs(dq_as) / (HOUR_S * self.ah * self.kind.shape_soc))
        x[:, SHAPE] *= same
        f = np.repeat(np.eye(STATES)[None], len(x), axis=0)
        f[:, SOC, OFFSET] = dt_s / full_as
        f[:, SOC, LN_Q] = moved
        f[:, HYST, HYST] = keep
        f[:, SHAPE, SHAPE] = same
        p[:] = f @ p @ f.transpose(0, 2, 1)
        hours = dt_s / HOUR_S
        p[:, SHAPE, SHAPE] += self.kind.shape_sd_v**2 * (1 - same * same)
        p[:, HYST, HYST] += 0.15**2 * (1 - keep * keep)
        p[:, LN_R, LN_R] += 0.02**2 * hours
        p[:, OFFSET, OFFSET] += (0.0003 * self.ah) ** 2 * hours
        p[:, SOC, SOC] += (0.003 * moved) ** 2 + (1e-4) ** 2 * hours
        p[:, SOC, SOC] += (UNKNOWN_CURRENT_C * lost_s / HOUR_S) ** 2

    def correct(self, innovation: Floats, h: Floats, noise: float | Floats) -> None:
        """Kalman update of every guess with one scalar measurement; weights follow its fit."""
        ph = np.einsum("mij,mj->mi", self.p, h)
        s = np.einsum("mi,mi->m", ph, h) + noise
        gain = ph / s[:, None]
        self.x += gain * innovation[:, None]
        self.p -= gain[:, :, None] * ph[:, None, :]
        self.logw -= 0.5 * (innovation**2 / s + np.log(s))
        self.logw -= self.logw.max()

    def see_voltage(
        self, mean_v: float, unit_v: float, r0_ohm: float, temp_c: float, noise: float
    ) -> None:
        """Corrects with a step's mean voltage. noise: variance. [V²]"""
        x = self.x
        factor = np.exp(x[:, LN_R])
        gap = float(self.kind.gap_v(temp_c))
        soc = np.clip(x[:, SOC], -0.2, 1.2)
        ocv = np.interp(soc, self.fine, self.curve)
        shift = self.kind.entropy_v_per_k * (temp_c - 25.0)
        loss = factor * (unit_v - r0_ohm * x[:, OFFSET])
        expected = ocv + shift + gap * x[:, HYST] + x[:, BIAS] + x[:, SHAPE] - loss
        h = np.zeros_like(x)
        h[:, SOC] = np.interp(soc, self.fine, self.slope)
        h[:, BIAS] = h[:, SHAPE] = 1.0
        h[:, LN_R] = -loss
        h[:, OFFSET] = factor * r0_ohm
        h[:, HYST] = gap
        self.correct(mean_v - expected, h, noise)

    def see_slope(self, ratio: float, noise: float) -> None:
        """Corrects with what a step's load changes say of the resistance factor."""
        factor = np.exp(self.x[:, LN_R])
        h = np.zeros_like(self.x)
        h[:, LN_R] = factor
        self.correct(ratio - factor, h, noise + 0.1**2)

    def see_soc(self, soc: float, sd: float) -> None:
        """Corrects with a charge known from elsewhere (full, empty, a device)."""
        h = np.zeros_like(self.x)
        h[:, SOC] = 1.0
        self.correct(soc - self.x[:, SOC], h, sd * sd)

    def weights(self) -> Floats:
        """Shares of the guesses, sum 1."""
        w = np.exp(self.logw - self.logw.max())
        return np.asarray(w / w.sum())

    def mean_sd(self, state: int) -> tuple[float, float]:
        """Mean and standard deviation of one state over the bank."""
        w = self.weights()
        mean = float(w @ self.x[:, state])
        var = float(w @ (self.p[:, state, state] + (self.x[:, state] - mean) ** 2))
        return mean, var**0.5


def track(series: Series, pack: Pack, start: ChargeState | None = None) -> Charge:
    """Follows the pack's charge over a series.

    Args:
        series: With pack_current_a and a voltage; temperature where there is one.
        pack: What the pack is.
        start: Where an earlier stretch ended; None: nothing is known but the chemistry.
    Returns:
        Charge per reading, and the state at the end.
    """
    kind = chemistry(pack.chemistry)
    params = CellParams(**start.params) if start else default_params(pack)
    bank = Tracker(pack, params, kind)
    current, volts = series.get("pack_current_a"), mean_cell_v(series, pack)
    temp = cell_temp_c(series, start.temp_c if start else 20.0)
    dt, n = series.step_s, series.n
    lost = ~np.isfinite(current)
    amps = np.where(lost, 0.0, current)
    # Charge that goes in is worth a little less.
    useful = np.where(amps < 0, amps * kind.charge_efficiency, amps)
    cold, ohmic = kind.charge_factor(temp), kind.ohmic_factor(temp)
    gap_s = max((series.t0_us - start.t_us) / 1e6, 0.0) if start else 0.0
    v1 = start.v1_v / start.r_factor * np.exp(-gap_s / params.tau1_s) if start else 0.0
    v2 = start.v2_v / start.r_factor * np.exp(-gap_s / params.tau2_s) if start else 0.0
    r0_v = amps * params.r0_ohm * ohmic
    u1 = np.array(
        _decayed(amps * params.r1_ohm * cold, np.full(n, np.exp(-dt / params.tau1_s)), v1)
    )
    u2 = np.array(
        _decayed(amps * params.r2_ohm * cold, np.full(n, np.exp(-dt / params.tau2_s)), v2)
    )
    unit_v = r0_v + u1 + u2
    if start:
        bank.resume(start)
        bank.advance(0.0, gap_s, 1.0, 0.0, gap_s)
    else:
        bank.fresh()
        if series.has("pack_soc_frac"):
            said = series.get("pack_soc_frac")
            bank.see_soc(float(said[np.isfinite(said)][0]), 0.12)
    per = max(round(STEP_S / dt), 1)
    firsts = np.arange(0, n, per)
    soc, sd, fac, hys = (np.full(n, np.nan) for _ in range(4))
    travel = np.exp(-np.abs(useful) * dt / (HOUR_S * params.capacity_ah * kind.gap_soc_frac))
    toward = -np.sign(useful)
    full_s = 0.0
    age_s = gap_s if start else 0.0
    for i in firsts.tolist():
        j = min(i + per, n)
        keep = float(np.prod(travel[i:j]))
        drift = float(_decayed(toward[i:j], travel[i:j], 0.0)[-1])
        span = (j - i) * dt
        q = np.cumsum(useful[i:j]) * dt
        bank.advance(float(q[-1]), span, keep, drift, float(lost[i:j].sum()) * dt)
        ok = np.isfinite(volts[i:j]) & ~lost[i:j]
        age_s += span
        if ok.any():
            v, u = volts[i:j][ok], unit_v[i:j][ok]
            settle = 0.0 if start else (0.01 * np.exp(-age_s / 900.0)) ** 2
            mean_u = float(u.mean())
            noise = (0.003**2 + (0.08 * mean_u) ** 2) * 12 + settle * 12
            bank.see_voltage(float(v.mean()), mean_u, params.r0_ohm * float(ohmic[i]),
                             float(temp[i]), noise)  # fmt: skip
            du = u - mean_u
            power = float(du @ du)
            if power > 9 * 0.002**2:
                bank.see_slope(-float(du @ v) / power, 0.002**2 / power)
            tail = float(-amps[i:j].mean())
            held = float(v.mean()) >= (pack.cell_full_v or kind.full_v) - 0.02
            low = 0 <= tail < kind.full_tail_c * params.capacity_ah
            full_s = full_s + span if held and low else 0.0
            if full_s >= 60.0:
                bank.see_soc(1.0, 0.01)
        soc[i:j], sd[i:j] = bank.mean_sd(SOC)
        fac[i:j] = np.exp(bank.mean_sd(LN_R)[0])
        hys[i:j] = np.clip(bank.mean_sd(HYST)[0], -1, 1)
    soc = np.clip(soc, 0.0, 1.0)
    count = pack.cells_in_series
    ocv = kind.ocv_v(soc, temp, hys) + bank.mean_sd(BIAS)[0] + bank.mean_sd(SHAPE)[0]
    r_factor = float(np.exp(bank.mean_sd(LN_R)[0]))
    offset, offset_sd = bank.mean_sd(OFFSET)
    ln_q, ln_q_sd = bank.mean_sd(LN_Q)
    mean, dev = bank.mean_sd(SOC)
    final = ChargeState(
        t_us=series.t0_us + round(n * dt * 1e6), soc=float(np.clip(mean, 0, 1)), sd=dev,
        v1_v=float(u1[-1]) * r_factor if n else 0.0, v2_v=float(u2[-1]) * r_factor if n else 0.0,
        hysteresis=float(np.clip(bank.mean_sd(HYST)[0], -1, 1)),
        offset_a=offset, offset_sd_a=offset_sd,
        r_factor=r_factor, r_factor_sd=r_factor * bank.mean_sd(LN_R)[1],
        capacity_ah=params.capacity_ah * float(np.exp(ln_q)),
        capacity_sd_ah=params.capacity_ah * float(np.exp(ln_q)) * ln_q_sd,
        temp_c=float(temp[-1]) if n else (start.temp_c if start else 20.0),
        params=dict(params.__dict__),
        bank={"weight": bank.weights().tolist(), "mean": bank.x.tolist(), "cov": bank.p.tolist()},
    )  # fmt: skip
    return Charge(series.t_s, soc, sd, ocv * count, fac * r0_v * count,
                  fac * (u1 + u2) * count, final)  # fmt: skip
