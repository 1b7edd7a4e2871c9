"""The sag's split: its columns against a fine solution of the circuit, its whitening against a
Cholesky factor, its weights against fits and a marginalisation done directly."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares
from scipy.stats import norm

from analyzer.pack.cell_model import default_params
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from analyzer.trips import sag_design, sag_fit
from analyzer.trips.sag import parts
from analyzer.trips.sag_account import worst
from analyzer.trips.sag_design import design_matrix, lagged
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.sag_split import split
from logger.boat import Pack
from tests.support.motor_boat import motor_boat
from tests.support.sag_noise import left_cov

AH, CELLS = 200.0, 16
BOAT = motor_boat(pack=Pack(chemistry="lfp", cells_in_series=CELLS, rated_capacity_ah=AH))


def arrhenius(temp_c: np.ndarray, energy_j: float) -> np.ndarray:
    return np.exp(energy_j / 8.314462618 * (1 / (np.asarray(temp_c) + 273.15) - 1 / 298.15))


# -- columns ------------------------------------------------------------------------------------


def first_order(drive: np.ndarray, tau_s: float, step_s: float) -> np.ndarray:
    """tau dy/dt = u - y, u the mean of two readings between them; from rest one step before."""
    drive, y = np.nan_to_num(drive), [0.0]
    before = np.append(drive[0], drive[:-1])
    for u in 0.5 * (before + drive):
        fine = solve_ivp(
            lambda _, v, u=u: (u - v) / tau_s, (0, step_s), y[-1:], rtol=1e-9, atol=1e-9
        )
        y.append(float(fine.y[0, -1]))
    return np.array(y[1:])


@pytest.mark.parametrize("step_s", [1.0, 10.0])
def test_lagged_is_a_fine_solution_of_the_pair(step_s):
    rng = np.random.default_rng(1)
    drive = rng.uniform(-50, 100, (60, 3))
    drive[20:23, 1] = np.nan
    taus = np.array([8.0, 600.0, 0.0])
    got = lagged(drive, taus, step_s)
    for k in (0, 1):
        np.testing.assert_allclose(got[:, k], first_order(drive[:, k], taus[k], step_s), rtol=1e-6)
    np.testing.assert_array_equal(got[:, 2], drive[:, 2])


def trip(seed: int = 0, n: int = 400) -> tuple[np.ndarray, ...]:
    """Current, temperature and charge along a trip, ten seconds a step."""
    rng = np.random.default_rng(seed)
    current = np.repeat(rng.uniform(-30, 120, n // 20), 20)
    temp = 8 + 6 * np.sin(np.arange(n) / 60)
    soc = 0.9 - np.cumsum(current) * 10 / 3600 / AH
    return current, temp, soc


def test_columns_are_the_circuit_solved_part_by_part():
    kind, (current, temp, soc) = chemistry("lfp"), trip()
    table = design_matrix(kind, current, temp, soc, AH, 10.0)
    assert len(table.hypotheses) == 2 * 5 * 5 * 7 * 6 * 3
    taus = [0.0, *sag_design.TAU1_S, *sag_design.TAU2_S]
    rng = np.random.default_rng(2)
    for at in rng.choice(len(table.hypotheses), 4, replace=False):
        # Counted through as nested loops: shape, fast pair, slow pair, two shares, branch.
        rest, _ = divmod(int(at), 3)
        rest, w1 = divmod(rest, 6)
        rest, w0 = divmod(rest, 7)
        rest, slow = divmod(rest, 5)
        shape, fast = divmod(rest, 5)
        share0, share1 = sag_design.SHARES0[w0], sag_design.SHARES1[w1]
        c = table.hypotheses[at].circuit
        assert c.transfer == (share0, share1, share1)
        quick = np.interp(soc, kind.soc, kind.fast_shape) if shape else 1.0
        late = np.interp(soc, kind.soc, kind.slow_shape) if shape else 1.0
        cold0 = 1 - share0 + share0 * arrhenius(temp, 33.8e3)
        cold1 = 1 - share1 + share1 * arrhenius(temp, 33.8e3)
        drives = [current * quick, current * quick, current * late]
        tau_s = [0.0, taus[1 + fast], taus[6 + slow]]
        for k, factor in enumerate((cold0, cold1, cold1)):
            for column, drive in ((c.cold[k], drives[k] * factor), (c.warm[k], drives[k])):
                want = first_order(drive, tau_s[k], 10.0) if tau_s[k] else drive
                np.testing.assert_allclose(-table.matrix[:, column], want, rtol=1e-5, atol=1e-5)


def test_branches_go_to_the_other_curve_as_charge_moves():
    """dy/dq = -(y + sign of the current) / gap on the charge moved; scaled by the gap's cold."""
    kind, (current, temp, soc) = chemistry("lfp"), trip()
    table = design_matrix(kind, current, temp, soc, AH, 10.0)
    moved = np.abs(current) * 10 / 3600 / AH
    for choice, start in zip(table.hypotheses[:3], (-1.0, 0.0, 1.0), strict=True):
        y, want = start, [start]
        for q, amps in zip(moved[1:], current[1:], strict=True):
            toward, over = -np.sign(amps), kind.gap_soc_frac
            fine = solve_ivp(lambda _, v, t=toward, g=over: (t - v) / g, (0, q), [y], rtol=1e-9)
            y = float(fine.y[0, -1])
            want.append(y)
        got = table.matrix[:, choice.hysteresis] / arrhenius(temp, kind.gap_activation_j)
        np.testing.assert_allclose(got, want, rtol=1e-6, atol=1e-6)


def test_bends_are_straight_lines_between_knots_and_add_up_to_one():
    current, temp, soc = trip()
    table = design_matrix(chemistry("lfp"), current, temp, soc, AH, 10.0)
    np.testing.assert_array_equal(table.matrix[:, table.constant], 1.0)
    bends = table.matrix[:, table.curve[1:]]
    np.testing.assert_allclose(bends.sum(axis=1), 1.0, atol=1e-12)
    moved = np.cumsum(current) * 10 / 3600 / AH
    knots = moved.min() + 0.05 * np.arange(bends.shape[1])
    np.testing.assert_allclose(bends @ knots, moved, atol=1e-12)


def test_choices_shares_are_as_likely_as_their_normal_priors():
    table = design_matrix(chemistry("lfp"), *trip(), AH, 10.0)
    circuits = [h.circuit for h in table.hypotheses]
    told = np.array([(*c.transfer[:2], c.log_prior) for c in circuits])
    want = norm.logpdf(told[:, 0], 0.47, 0.15) + norm.logpdf(told[:, 1], 0.6, 0.2)
    np.testing.assert_allclose(told[:, 2] - told[0, 2], want - want[0], atol=1e-12)


# -- the fit ------------------------------------------------------------------------------------


def cold_outing(seed: int = 0) -> Series:
    """An hour and a half at 9 °C; the circuit integrated second by second, figures invented."""
    rng = np.random.default_rng(seed)
    amps = np.repeat([0, 40, 80, 0, 60, 20], 900) * (1 + 0.04 * rng.standard_normal(5400))
    y, loss = np.zeros(2), np.zeros(5400)
    keep = np.exp(-1 / np.array([25.0, 600.0]))
    for k, i in enumerate(amps.tolist()):
        loss[k] = 0.6e-3 * i + y.sum()
        y = keep * y + (1 - keep) * np.array([0.3e-3, 0.45e-3]) * i
    soc = 0.85 - np.cumsum(amps) / 3600 / AH
    cell_v = chemistry("lfp").ocv_v(soc, 9.0, -1.0) - loss
    control_v = CELLS * cell_v - 1.5e-3 * amps
    values = {
        "pack_voltage_v": np.round(CELLS * cell_v + rng.normal(0, 0.01, 5400), 2),
        "controller_voltage_v": np.round(control_v, 2),
        "pack_current_a": np.round(amps, 1),
        "pack_temp_c": np.full(5400, 9.0),
    }
    return Series(10**15, 1.0, 5400, values)


@pytest.fixture
def few(monkeypatch):
    """Choices few enough to be fitted one by one; the trip and its charge."""
    monkeypatch.setattr(sag_design, "TAU1_S", (14.0, 37.0))
    monkeypatch.setattr(sag_design, "TAU2_S", (350.0, 1050.0))
    monkeypatch.setattr(sag_design, "SHARES0", (0.3, 0.6))
    monkeypatch.setattr(sag_design, "SHARES1", (0.5,))
    log = cold_outing()
    return log, track(log, BOAT.pack, known(BOAT.pack, 0.85, 0.02, t_us=log.t0_us))


def bend_rows(table: sag_design.Design, soc: np.ndarray) -> np.ndarray:
    """One row per pair of neighbouring bends, in deviations of how far they may differ."""
    kind, curve = chemistry("lfp"), len(table.curve)
    bends = table.matrix[:, table.curve[1:]]
    place = (bends * soc[:, None]).sum(axis=0) / bends.sum(axis=0)
    sd = np.hypot(0.004, np.diff(np.interp(place, kind.soc, kind.end_sd_v)))
    rows = np.zeros((curve - 2, 4 + curve))
    for k in range(curve - 2):
        rows[k, 5 + k], rows[k, 6 + k] = -1 / sd[k], 1 / sd[k]
    return rows


def one_by_one(log, charge, earlier=()):
    """Every choice fitted by scipy's least squares; weights by the marginal likelihood.

    ln w = -cost / 2 scale - ln det(J^T J) / 2 + ln prior, J over logarithms and curve's error, the
    Laplace approximation of the integral over all parameters.
    """
    kind, soc = chemistry("lfp"), charge.soc_frac
    temp, current = log.get("pack_temp_c"), log.get("pack_current_a")
    curve_v = kind.ocv_v(soc, temp)
    table = design_matrix(kind, current, temp, soc, AH, 1.0)
    rows = np.column_stack([table.matrix, log.get("pack_voltage_v") / CELLS - curve_v])
    rows = rows.reshape(-1, 10, rows.shape[1]).mean(axis=1)
    root = np.linalg.cholesky(left_cov(10.0 * np.arange(len(rows)), rows[:, -1]))
    white = np.linalg.solve(root, rows)
    p = default_params(BOAT.pack)
    gap_v = float(np.interp(0.5, kind.soc, kind.half_gap_v))
    logs = np.log([p.r0_ohm, p.r1_ohm, p.r2_ohm, gap_v])
    own = np.vstack([np.eye(4 + len(table.curve))[4:] / 0.03, bend_rows(table, soc)])
    fits = []
    for choice in table.hypotheses:
        middle, sd, apart = told(logs, choice, earlier)
        at = table.columns(choice)

        def off(u, at=at, middle=middle, sd=sd):
            x = np.append(np.exp(u[:4]), u[4:])
            return np.concatenate([white[:, at] @ x - white[:, -1], (u[:4] - middle) / sd, own @ u])

        def slope(u, at=at, sd=sd):
            stretch = np.append(np.exp(u[:4]), np.ones(len(u) - 4))
            priors = np.hstack([np.diag(1 / sd), np.zeros((4, len(u) - 4))])
            return np.vstack([white[:, at] * stretch, priors, own])

        begin = np.append(middle, np.zeros(len(table.curve)))
        best = least_squares(off, begin, slope, xtol=1e-15, ftol=1e-15, gtol=1e-13)
        inner = best.jac.T @ best.jac
        fits.append((best.x, 2 * best.cost, np.linalg.slogdet(inner)[1], inner, apart))
    cost = np.array([f[1] for f in fits])
    scale = max(cost.min() / len(rows), 1.0)
    lean = np.array([h.circuit.log_prior for h in table.hypotheses]) - 0.5 * np.array(
        [f[4] for f in fits]
    )
    log_w = -0.5 * cost / scale - 0.5 * np.array([f[2] for f in fits]) + lean
    weight = np.exp(log_w - log_w.max())
    weight[weight <= 1e-3] = 0.0
    return (
        table,
        weight / weight.sum(),
        [f[0] for f in fits],
        [scale * np.linalg.inv(f[3]) for f in fits],
    )


def told(logs, choice, earlier):
    """Prior of r0, r1, r2 and the gap, conditioned on earlier trips as one joint normal.

    Each trip's logarithm is now's, less a change since (0.03, the same for all), and its own error
    (its sd and 0.03). Third: the squared distance of all of them from the prior, by the whole
    covariance.
    """
    middle, sd, apart = logs.copy(), np.array([0.7, 0.7, 0.8, 0.35]), 0.0
    shares = choice.circuit.transfer
    for k in range(3 if earlier else 0):
        warm = [1 - shares[k] + shares[k] * arrhenius(e.temp_c, 33.8e3) for e in earlier]
        off = np.log([e.ohm[k] for e in earlier]) - np.log(warm) - logs[k]
        cov = np.diag([e.ln_sd[k] ** 2 + 0.03**2 for e in earlier]) + sd[k] ** 2 + 0.03**2
        gain = sd[k] ** 2 * np.linalg.solve(cov, np.ones(len(off)))
        middle[k] += gain @ off
        apart += off @ np.linalg.solve(cov, off)
        sd[k] = math.sqrt(sd[k] ** 2 - gain.sum() * sd[k] ** 2)
    return middle, sd, apart


EARLIER = (
    (),
    (Earlier(22.0, (0.45e-3, 0.2e-3, 0.3e-3), (0.03, 0.05, 0.1)),
     Earlier(15.0, (0.5e-3, 0.24e-3, 0.36e-3), (0.02, 0.06, 0.15))),
)  # fmt: skip


@pytest.mark.parametrize(
    ("earlier", "more_sd_v"),
    [(EARLIER[0], 0.0), (EARLIER[1], 0.0), (EARLIER[0], 0.1)],
    ids=["alone", "with earlier trips", "noise beyond the meters'"],
)
def test_a_split_is_every_choice_fitted_and_weighed_one_by_one(
    few, earlier, more_sd_v, monkeypatch
):
    monkeypatch.setattr(sag_fit, "NEWTON_STEPS", 60)  # to the end; as many as it takes otherwise
    log, charge = few
    noise_v = np.random.default_rng(9).normal(0, more_sd_v, log.n)
    noisy_v = log.get("pack_voltage_v") + noise_v
    log = replace(log, values=log.values | {"pack_voltage_v": noisy_v})
    got = split(log, charge, BOAT, earlier)
    table, weight, u, cov = one_by_one(log, charge, earlier)
    kept = np.flatnonzero(weight)
    assert len(kept) > 1
    assert list(got.fits.hypotheses) == [table.hypotheses[k] for k in kept]
    np.testing.assert_allclose(got.fits.weight, weight[kept], rtol=1e-6)
    for row, k in enumerate(kept):
        np.testing.assert_allclose(got.fits.theta[row, :4], np.exp(u[k][:4]), rtol=1e-6)
        np.testing.assert_allclose(got.fits.theta[row, 4:], u[k][4:], atol=1e-5)
    # Ohmic and both pairs of the pack, mixed over the choices: E and Var of the whole.
    for said, which in zip(got.resistances(), ([0], [1, 2]), strict=True):
        ohm = np.array([np.exp(v[:4])[which].sum() for v in u])
        inner = [np.exp(v[which]) @ c[np.ix_(which, which)] @ np.exp(v[which])
                 for v, c in zip(u, cov, strict=True)]  # fmt: skip
        mean = weight @ ohm
        sd = math.sqrt(weight @ (inner + (ohm - mean) ** 2))
        assert said == pytest.approx((CELLS * mean, CELLS * sd), rel=1e-6)


def test_the_newton_steps_that_it_takes_are_as_good_as_all(few, monkeypatch):
    """What is still to go lies far inside the fit's own doubt."""
    soon = split(*few, BOAT)
    monkeypatch.setattr(sag_fit, "NEWTON_STEPS", 60)
    late = split(*few, BOAT)
    assert soon.fits.hypotheses == late.fits.hypotheses
    sd = np.sqrt(np.diagonal(late.fits.cov, axis1=1, axis2=2))
    assert np.max(np.abs(soon.fits.theta - late.fits.theta) / sd) < 0.02
    np.testing.assert_allclose(soon.fits.weight, late.fits.weight, rtol=1e-3)


def test_terms_are_the_moments_of_draws_over_choices_and_parameters(few):
    log, charge = few
    fit = split(log, charge, BOAT)
    chosen, rest = np.zeros(log.n, bool), np.zeros(log.n, bool)
    chosen[2500:2520] = rest[880:899] = True
    rng, n = np.random.default_rng(5), 40_000
    which = rng.choice(len(fit.fits.weight), n, p=fit.fits.weight)
    names = ("charge used", "resistance", "polarisation", "cold")
    drawn = np.zeros((n, 4))
    now, then = fit.design.matrix[chosen].mean(axis=0), fit.design.matrix[rest].mean(axis=0)
    curve = fit.curve_v[rest].mean() - fit.curve_v[chosen].mean()
    for k, c in enumerate(fit.fits.hypotheses):
        rows = which == k
        x = rng.multivariate_normal(
            fit.fits.theta[k], fit.fits.cov[k], rows.sum(), method="cholesky"
        )
        warm, cold = (-now[list(v)] * x[:, :3] for v in (c.circuit.warm, c.circuit.cold))
        side = [c.hysteresis, *fit.design.curve]
        drawn[rows] = np.column_stack([
            curve + x[:, 3:] @ (then[side] - now[side]),
            warm[:, 0], warm[:, 1:].sum(axis=1), (cold - warm).sum(axis=1),
        ])  # fmt: skip
    drawn *= CELLS
    drawn = np.column_stack([drawn, drawn[:, 0] + drawn[:, 2], drawn.sum(axis=1)])
    for column, (mean, sd) in zip(
        drawn.T, (fit.terms(chosen, rest)[k] for k in (*names, "slow", "all")), strict=True
    ):
        assert column.mean() == pytest.approx(mean, abs=5 * sd / math.sqrt(n))
        assert column.std() == pytest.approx(sd, rel=0.03)


def test_parts_add_up_to_what_lies_between_rest_and_load(few):
    log, charge = few
    found = parts(log, charge, BOAT, 899)
    known_v = found.charge_used_v + found.ohmic_25_v + found.polar_25_v + found.cold_v
    known_v = known_v + np.nan_to_num(found.weak_v) + found.cables_v + found.unexplained_v
    np.testing.assert_allclose(known_v, found.rest_v - found.loaded_v, atol=1e-9)
    np.testing.assert_allclose(found.cables_v, 1.5e-3 * found.current_a, atol=0.05)
    split_v = found.found.series()
    both = found.ohmic_25_v + found.polar_25_v + found.cold_v
    np.testing.assert_allclose(both, split_v["ohmic_v"] + split_v["polar_v"], atol=1e-9)
    # By the account at the lowest mean over eleven readings under load.
    account = worst(log, charge, BOAT, None)
    total = sum(t.volts.mid for t in account.terms if t.volts.mid is not None)
    assert total == pytest.approx(account.rest_v - account.loaded_v, abs=1e-9)
    mean = np.convolve(found.loaded_v, np.ones(11) / 11, "valid")
    loaded = found.current_a[5:-5] > 0.05 * AH
    assert account.loaded_v == pytest.approx(mean[loaded].min(), abs=1e-9)


def test_a_weak_cell_s_volts_are_its_line_over_current(few):
    """numpy's polyfit of a cell's distance below the median; the account takes it out of r0."""
    log, charge = few
    rng = np.random.default_rng(6)
    mean = log.get("pack_voltage_v") / CELLS
    cells = mean + rng.normal(0, 2e-4, (CELLS, log.n)) + rng.normal(0, 0.002, (CELLS, 1))
    cells[4] -= 0.25e-3 * log.get("pack_current_a")
    values = {f"cell_{k + 1:02}_voltage_v": cells[k] for k in range(CELLS)}
    told_log = replace(log, values={**log.values, **values})
    found = parts(told_log, charge, BOAT, 899)
    low = np.median(cells, axis=0) - cells
    line = np.polyfit(log.get("pack_current_a"), low[4], 1)
    np.testing.assert_allclose(found.weak_v, line[0] * log.get("pack_current_a"), rtol=1e-9)
    without = parts(log, charge, BOAT, 899)
    taken = without.ohmic_25_v + without.cold_v - found.ohmic_25_v - found.cold_v
    np.testing.assert_allclose(taken, found.weak_v, atol=1e-9)


def test_without_a_thermometer_nothing_is_said_of_the_cold(few):
    """Resistance is what it was on the day: 16 cells of 0.6 mΩ, as the circuit was made."""
    log, charge = few
    blind = replace(log, values={k: v for k, v in log.values.items() if k != "pack_temp_c"})
    account = worst(blind, charge, BOAT, None)
    terms = {t.text: t.volts for t in account.terms}
    assert terms["cold"].mid is None
    assert "temperature is not measured" in terms["cold"].reason
    assert "the cold" not in account.sentence
    assert "temperature" not in account.sentence
    assert terms["resistance"].mid == pytest.approx(CELLS * 0.6e-3 * account.current_a, rel=0.08)
    total = sum(volts.mid for volts in terms.values() if volts.mid is not None)
    assert total == pytest.approx(account.rest_v - account.loaded_v, abs=1e-9)


@pytest.mark.parametrize(("lasts_s", "fitted"), [(280, False), (320, True)])
def test_less_than_five_minutes_of_readings_are_not_fitted(few, lasts_s, fitted):
    log = few[0].cut(1000, 1000 + lasts_s)
    charge = track(log, BOAT.pack, known(BOAT.pack, 0.8, 0.02, t_us=log.t0_us))
    assert (split(log, charge, BOAT) is not None) == fitted
