"""What the charge filter is fed with, against integrals, fine ODE solutions and numpy.

Figures of the loads invented; the ODEs are the equivalent circuit's and the first-order law of
hysteresis (G. Plett, J. Power Sources 134 (2004) 277, from memory).
"""

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import solve_ivp, trapezoid

from analyzer.pack.cell_model import arrhenius, default_cell
from analyzer.pack.lead_acid.charge import KEPT
from analyzer.pack.soc import known
from analyzer.pack.soc.inputs import filter_inputs
from analyzer.pack.soc.noise import (
    AGEING_SD,
    APART_ENERGY_J,
    COUNT_SD,
    ENTROPY_SD_V_PER_K,
    FAST_ENERGY_SD_J,
    GAP_REACH,
    SLOW_ENERGY_SD_J,
    WALK_REST_V,
    WALK_S,
)
from analyzer.pack.soc.states import FAST, GAP, HYST, LN_Q, OFFSET, SHIFT, SLOW, SOC, WALK
from analyzer.pack.soc.terminal_current import LOST_C
from analyzer.series.series import Series
from logger.boat import Pack

AH = 100.0
PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=AH)
LEAD = Pack(chemistry="agm", cells_in_series=24, rated_capacity_ah=AH)


def load(n, seed=31, **more):
    """Half-minute changes of load, giving and taking, with noise; voltage a straight line."""
    rng = np.random.default_rng(seed)
    amps = np.repeat(rng.uniform(-60, 120, n // 30 + 1), 30)[:n] + rng.normal(0, 2, n)
    volts = 4 * (3.3 - 1e-3 * amps) + rng.normal(0, 1e-3, n)
    values = {"pack_current_a": amps, "pack_voltage_v": volts, "pack_temp_c": np.full(n, 12.0)}
    return Series(0, 1.0, n, {**values, **more})


def prepared(series, pack=PACK, start=None, gap_s=0.0, sign=1.0):
    return filter_inputs(series, pack, default_cell(pack), start, gap_s, sign)


def of_steps(steps, name):
    return getattr(steps, name)


@pytest.mark.parametrize("pack", [PACK, LEAD])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_charge_moved_is_the_integral_of_the_current(pack, sign):
    series = load(610)
    steps = prepared(series, pack, sign=sign)
    amps = sign * series.values["pack_current_a"]
    # here lead-acid lies far below gassing, where a constant share stays
    efficiency = KEPT["agm"][0] if pack is LEAD else default_cell(pack).kind.charge_efficiency
    useful = np.where(amps < 0, efficiency * amps, amps)
    parts = np.split(useful, np.arange(20, 610, 20))
    assert of_steps(steps, "charge_as") == approx(np.array([p.sum() for p in parts]))
    assert of_steps(steps, "length_s") == approx(np.array([len(p) for p in parts]))
    # the same by the trapezoid rule over the held current, drawn finely
    t = np.arange(0, 610, 0.01) + 0.005
    fine = trapezoid(useful[t.astype(int)], t)
    assert of_steps(steps, "charge_as").sum() == approx(fine, rel=1e-3)


def held_ode(derivative, values, start, step_s=1.0):
    """Solves dy/dt = derivative(y, value) reading by reading with the value held. (n,)"""
    out, y = [], start
    for value in values:
        solved = solve_ivp(
            lambda _, s, value=value: derivative(s, value), (0, step_s), [y],
            rtol=1e-9, atol=1e-13,
        )  # fmt: skip
        y = float(solved.y[0, -1])
        out.append(y)
    return np.array(out)


@pytest.mark.parametrize("temp_c", [25.0, 2.0])
def test_polarisation_is_the_circuits_ode(temp_c):
    series = load(150, pack_temp_c=np.full(150, temp_c))
    cell = default_cell(PACK)
    amps, p = series.values["pack_current_a"], cell.params
    ohmic = np.exp(
        cell.kind.ohmic_activation_j / 8.314462618 * (1 / (temp_c + 273.15) - 1 / 298.15)
    )
    charge = np.exp(
        cell.kind.charge_activation_j / 8.314462618 * (1 / (temp_c + 273.15) - 1 / 298.15)
    )
    steps = prepared(series)
    assert steps.losses.r0_v == approx(amps * p.r0_ohm * ohmic)
    for found, r_ohm, tau_s in (
        (steps.losses.u1_v, p.r1_ohm, p.tau1_s),
        (steps.losses.u2_v, p.r2_ohm, p.tau2_s),
    ):
        ode = held_ode(lambda u, i, r=r_ohm, tau=tau_s: (i * r * charge - u) / tau, amps, 0.0)
        assert found == approx(ode, rel=1e-6, abs=1e-10)


def test_polarisation_goes_on_from_a_state_after_a_gap():
    cell, series = default_cell(PACK), load(60, pack_current_a=np.zeros(60))
    kind, p = cell.kind, cell.params
    start = known(PACK, 0.08, 0.02)
    start = start.__class__(
        **{**vars(start), "v1_v": 0.01, "v2_v": -0.02, "r_factor": 1.3, "slow_factor": 0.7}
    )
    steps = prepared(series, start=start, gap_s=30.0)
    fast, slow = (np.interp(0.08, kind.soc, t) for t in (kind.fast_shape, kind.slow_shape))
    t = 30.0 + np.arange(1, 61)  # at the end of each second
    assert steps.losses.u1_v == approx(0.01 / (1.3 * fast) * np.exp(-t / p.tau1_s))
    assert steps.losses.u2_v == approx(-0.02 / (0.7 * slow) * np.exp(-t / p.tau2_s))


@pytest.mark.parametrize("start", [0.0, -1.0, 0.7])
def test_hysteresis_is_the_ode_of_charge_moved(start):
    series = load(200)
    cell = default_cell(PACK)
    steps = prepared(series)
    amps = series.values["pack_current_a"]
    useful = np.where(amps < 0, cell.kind.charge_efficiency * amps, amps)
    scale_as = 3600 * AH * cell.kind.gap_soc_frac
    # dh/dt = -|I| / scale (h + sign I): -1 after long giving, 1 after long taking
    ode = held_ode(lambda h, i: -abs(i) / scale_as * (h + np.sign(i)), useful, start)
    now = start
    for k, item in enumerate(steps.steps()):
        now = item.hyst_keep * now + item.hyst_drift
        assert now == approx(ode[min(20 * k + 19, 199)], abs=1e-8)


@pytest.mark.parametrize("cut", [20, 100, 180])
def test_steps_cut_elsewhere_lead_to_the_same_state(cut):
    series = load(200)
    shifted = series.cut(cut - 13, 200)  # its steps begin elsewhere
    head, tail = prepared(series.cut(0, cut - 13)), prepared(shifted)
    whole = prepared(series)

    def through(h, *parts):
        for part in parts:
            for item in part.steps():
                h = item.hyst_keep * h + item.hyst_drift
        return h

    for start in (-1.0, 0.3):
        assert through(start, head, tail) == approx(through(start, whole), abs=1e-12)
    for name in ("charge_as", "length_s", "lost_s"):
        total = of_steps(head, name).sum() + of_steps(tail, name).sum()
        assert total == approx(of_steps(whole, name).sum())


def test_noise_of_steps_composes_as_that_of_a_stationary_process():
    # Ornstein-Uhlenbeck: var(t1 + t2) = keep2² var(t1) + var(t2), whatever the cut
    warm = np.full(40, 25.0)  # as before the log, so that no change of temperature adds its own
    series = load(40, pack_current_a=np.full(40, 50.0), pack_temp_c=warm)
    whole = prepared(series.cut(0, 20))
    parts = prepared(series.cut(0, 7)), prepared(series.cut(7, 20))
    share = of_steps(parts[1], "charge_as")[0] / (3600 * AH)
    keeps = {
        HYST: of_steps(parts[1], "hyst_keep")[0],
        GAP: np.exp(-share / GAP_REACH),
    }
    for state, keep in keeps.items():
        first, second = parts[0].noise[0, state], parts[1].noise[0, state]
        assert keep**2 * first + second == approx(whole.noise[0, state])
    rest = load(40, pack_current_a=np.zeros(40), pack_temp_c=warm)
    whole, first, second = (prepared(rest.cut(*at)).noise[0] for at in ((0, 20), (0, 7), (7, 20)))
    fade = np.exp(-13 / WALK_S)
    assert fade**2 * first[WALK] + second[WALK] == approx(whole[WALK])
    for state in (FAST, SLOW, OFFSET, LN_Q, SOC):  # random walks: variances add
        assert first[state] + second[state] == approx(whole[state])


def test_noise_reaches_what_it_was_before_anything_was_seen():
    # kept up for ever, the fading states have the prior's variances
    series = load(20, pack_current_a=np.full(20, 50.0))
    cell = default_cell(PACK)
    steps = prepared(series)
    noise, item = steps.noise[0], next(steps.steps())
    share = item.charge_as / (3600 * AH)
    swing = WALK_REST_V + cell.kind.walk_share * float(steps.losses.u2_v.mean())
    assert noise[HYST] / (1 - item.hyst_keep**2) == approx(cell.kind.branch_sd**2)
    assert noise[GAP] / (1 - np.exp(-2 * share / GAP_REACH)) == approx(cell.kind.gap_sd**2)
    assert noise[WALK] / (1 - np.exp(-40 / WALK_S)) == approx(swing**2)


def test_noise_rates_are_what_their_constants_say():
    series = load(3600, pack_current_a=np.full(3600, 50.0), pack_temp_c=np.full(3600, 25.0))
    noise = prepared(series).noise.sum(axis=0)
    # an hour of 50 A: half the charge, of which each step's gain and timing is COUNT_SD
    assert noise[SOC] == approx(180 * (COUNT_SD * 0.5 / 180) ** 2 + 1e-8)
    assert noise[LN_Q] == approx(AGEING_SD**2 / 8766)
    assert noise[OFFSET] == approx((0.0003 * AH) ** 2)
    assert noise[FAST] == approx(0.02**2)
    assert noise[SLOW] == approx(0.05**2)


def test_a_changed_temperature_makes_resistances_less_sure():
    temps = np.repeat([12.0, 4.0, 4.0], 20)
    steps = prepared(load(60, pack_temp_c=temps), start=known(PACK, 0.5, 0.02))
    inverse = 1 / 277.15 - 1 / 285.15
    noise, calm = steps.noise[1], steps.noise[2]
    for state, energy_sd in ((FAST, FAST_ENERGY_SD_J), (SLOW, SLOW_ENERGY_SD_J)):
        grown = noise[state] - calm[state]
        assert grown == approx((energy_sd / 8.314462618 * inverse) ** 2, rel=1e-6)
    assert noise[SHIFT] == approx((ENTROPY_SD_V_PER_K * 8.0) ** 2)
    assert calm[SHIFT] == 0.0
    # the first step's change is from the state's own 25 °C
    assert steps.noise[0, SHIFT] == approx((ENTROPY_SD_V_PER_K * 13.0) ** 2)


def test_sums_inside_a_step_are_numpys():
    values = load(60).values
    values["pack_voltage_v"][[3, 4, 30]] = np.nan
    series = Series(0, 1.0, 60, values)
    steps = prepared(series)
    amps = values["pack_current_a"]
    charge = np.cumsum(np.where(amps < 0, default_cell(PACK).kind.charge_efficiency * amps, amps))
    volts = values["pack_voltage_v"] / 4
    for k, item in enumerate(steps.steps()):
        at = np.arange(20 * k, 20 * k + 20)
        at = at[np.isfinite(volts[at])]
        table = np.array([volts[at], steps.losses.r0_v[at], steps.losses.u1_v[at], charge[at]])
        cov = np.cov(table, bias=True) * len(at)
        pairs = [(0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (1, 3), (2, 3)]
        assert item.load_cov == approx([cov[a, b] for a, b in pairs], rel=1e-7, abs=1e-12)
        means = (item.mean_v, item.r0_v, item.u1_v)
        assert means == approx([row.mean() for row in table[:3]])
        assert item.u2_v == approx(steps.losses.u2_v[at].mean())


def test_a_step_without_any_voltage_has_none():
    values = load(60).values
    values["pack_voltage_v"][20:40] = np.nan
    volts = of_steps(prepared(Series(0, 1.0, 60, values)), "mean_v")
    assert np.isnan(volts).tolist() == [False, True, False]


def test_temperature_goes_into_each_step_once():
    temps = np.repeat([30.0, 5.0], 20)
    cell = default_cell(LEAD)
    steps = prepared(load(40, pack_temp_c=temps), LEAD)
    for item, temp_c in zip(steps.steps(), (30.0, 5.0), strict=True):
        inverse = 1 / (temp_c + 273.15) - 1 / 298.15
        assert item.temp_shift_v == approx(cell.kind.entropy_v_per_k * (temp_c - 25))
        assert item.loss_sd == approx(APART_ENERGY_J / 8.314462618 * abs(inverse))
        factor = np.exp(cell.kind.ohmic_activation_j / 8.314462618 * inverse)
        assert item.r0_ohm == approx(cell.params.r0_ohm * factor)
    lfp = list(prepared(load(40, pack_temp_c=temps)).steps())[1]
    assert lfp.gap_factor == approx(float(arrhenius(5.0, default_cell(PACK).kind.gap_activation_j)))


@pytest.mark.parametrize("length", [200, 1700])
def test_a_gap_is_bridged_by_the_mean_of_its_sides(length):
    amps = np.r_[np.full(400, 40.0), np.full(length, np.nan), np.full(400, 10.0)]
    n = len(amps)
    series = load(n, pack_current_a=amps)
    steps = prepared(series)
    # the first 30 s are held; from then on a fresh value is missing
    expected = (400 + 30) * 40.0 + (length - 30) * 25.0 + 400 * 10.0
    assert of_steps(steps, "charge_as").sum() == approx(expected)
    assert of_steps(steps, "lost_s").sum() == length - 30
    # one error for the whole gap: variance is the square of its sd times its length
    plain = prepared(load(n, pack_current_a=np.nan_to_num(amps, nan=25.0)))
    added = (steps.noise[:, SOC] - plain.noise[:, SOC]).sum()
    sd_a = np.hypot(LOST_C * AH, 40.0)
    assert added == approx((sd_a / AH * (length - 30) / 3600) ** 2, rel=1e-3)


def test_a_gap_too_long_is_not_bridged():
    amps = np.r_[np.full(400, 40.0), np.full(7300, np.nan), np.full(400, 10.0)]
    steps = prepared(load(len(amps), pack_current_a=amps))
    assert of_steps(steps, "charge_as").sum() == approx(430 * 40.0 + 400 * 10.0)


@pytest.mark.parametrize(
    ("volts", "amps", "expected"),
    [(3.45, -2.0, True), (3.45, 2.0, False), (3.38, -2.0, False), (3.45, -5.1, False),
     (3.45, 0.0, True)],
)  # fmt: skip
def test_full_is_the_top_voltage_with_little_current(volts, amps, expected):
    # lfp: 3.40 V at rest, tail below 5 A on 100 Ah
    values = {"pack_current_a": np.full(40, amps), "pack_voltage_v": np.full(40, 4 * volts)}
    steps = prepared(Series(0, 1.0, 40, values))
    assert steps.at_top.tolist() == [expected, expected]
