"""Capacity and its trend, and the nonlinear fit, beside numpy's and scipy's least squares."""

import numpy as np
import pytest
from pytest import approx
from scipy.optimize import least_squares
from scipy.stats import norm

from analyzer.estimation.least_squares import solve
from analyzer.pack.capacity import (
    YEAR_S,
    TripCharge,
    from_gauge,
    learn,
    trend,
)
from analyzer.pack.chemistry import chemistry
from analyzer.series.series import Series
from tests.support.gaussians import central_difference, random_covariance

Z80 = norm.ppf(0.9)
DAY_US = 86400e6


def trips(rng, count, change_sd, noise):
    out = []
    for k in range(count):
        change = rng.uniform(0.2, 0.6) * rng.choice([-1, 1])
        said = change + noise * rng.standard_normal()
        out.append(TripCharge(f"trip {k}", k, 200.0 * change, said, float(change_sd[k])))
    return out


@pytest.mark.parametrize("noise", [0.0005, 0.02])
def test_learn_is_the_weighted_mean_with_the_larger_of_two_errors(noise):
    # little noise: the trips' own errors rule; much: their scatter does
    rng = np.random.default_rng(71)
    some = trips(rng, 7, rng.uniform(0.004, 0.02, 7), noise)
    ah = np.array([t.given_ah / t.change_frac for t in some])
    sd = np.array([abs(t.given_ah) / t.change_frac**2 * t.change_sd for t in some])
    # weighted least squares for a constant: what polyfit of degree 0 finds
    mid, own = np.polyfit(np.zeros(7), ah, 0, w=1 / sd, cov="unscaled")
    _, scattered = np.polyfit(np.zeros(7), ah, 0, w=1 / sd, cov=True)
    found = learn(some)
    assert len(found.used) == 7
    both = np.hypot(np.sqrt(max(own[0, 0], scattered[0, 0])), 0.01 * mid[0])
    assert found.estimate.mid == approx(mid[0])
    assert found.estimate.high - found.estimate.mid == approx(Z80 * both)
    assert found.estimate.mid - found.estimate.low == approx(Z80 * both)


def test_error_of_one_trip_is_that_of_a_quotient():
    trip = TripCharge("one", 0, 60.0, 0.3, 0.006)
    row = central_difference(lambda c: 60.0 / c, np.array([0.3]), 1e-5)[0, 0]
    assert trip.capacity_ah == approx(200.0)
    assert trip.sd_ah == approx(abs(row) * 0.006)


def test_gauge_trip_is_the_integral_between_its_first_and_last_reading():
    rng = np.random.default_rng(72)
    amps, said = rng.uniform(-10, 60, 7200), np.full(7200, np.nan)
    said[100:7000:50] = np.linspace(0.9, 0.6, 138)
    last = np.flatnonzero(np.isfinite(said))[-1]
    series = Series(5_000_000, 0.5, 7200, {"pack_current_a": amps, "pack_soc_frac": said})
    trip = from_gauge("one", series)
    assert trip.given_ah == approx(amps[100:last].sum() * 0.5 / 3600)
    assert trip.change_frac == approx(0.3)
    assert trip.end_us == 5_000_000 + 3600e6


@pytest.mark.parametrize("noise", [0.3, 4.0])
@pytest.mark.parametrize("ageing", [-1, 1])
def test_trend_is_weighted_polyfit(noise, ageing):
    rng = np.random.default_rng(73)
    days = np.sort(rng.uniform(0, 900, 14))
    sd = rng.uniform(0.8, 2.0, 14)
    values = 200 - 4.0 * days / 365.25 + noise * sd * rng.standard_normal(14)
    values[5], sd[8] = np.nan, 0.0  # neither counts
    ok = np.setdiff1d(np.arange(14), [5, 8])
    years = days[ok] * 86400 / YEAR_S
    fit, cov = np.polyfit(years, values[ok], 1, w=1 / sd[ok], cov="unscaled")
    left = (values[ok] - np.polyval(fit, years)) / sd[ok]
    error = np.sqrt(cov[0, 0] * max(left @ left / (12 - 2), 1.0))
    mean = np.average(values[ok], weights=1 / sd[ok] ** 2)
    found = trend(days * DAY_US, values, sd, ageing)
    assert found.per_year.mid == approx(fit[0] / mean)
    assert found.per_year.high - found.per_year.mid == approx(Z80 * error / mean)
    assert found.sureness_frac == approx(norm.cdf(ageing * fit[0] / error))


def test_solve_with_a_prior_is_scipys_minimum():
    rng = np.random.default_rng(74)
    x = np.linspace(0.2, 3.0, 25)
    var = rng.uniform(0.01, 0.04, 25)
    y = 2.0 * np.exp(-0.8 * x) + 0.3 + np.sqrt(var) * rng.standard_normal(25)
    before, base = np.array([1.5, 1.0, 0.0]), np.linalg.inv(
        random_covariance(rng, [0.5, 0.4, 0.3])
    )  # fmt: skip

    def model(p):
        return p[0] * np.exp(-p[1] * x) + p[2]

    def linearised(p):
        rows = central_difference(model, p, 1e-6)
        return rows, y - model(p) + rows @ p, var

    root = np.linalg.cholesky(base).T

    def left(p):
        return np.r_[(model(p) - y) / np.sqrt(var), root @ (p - before)]

    best = least_squares(left, before, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    fit = solve(linearised, before, base)
    assert fit.settled
    assert fit.mean == approx(best.x, rel=1e-4)
    assert fit.cost == approx(2 * best.cost, rel=1e-8)
    assert fit.precision == approx(best.jac.T @ best.jac, rel=1e-3, abs=1e-3)


@pytest.mark.parametrize("name", ["lfp", "nmc", "lead_acid"])
def test_slope_and_inverse_of_the_curve(name):
    kind = chemistry(name)
    soc = np.array([0.004, 0.1, 0.37, 0.8, 0.998])
    for z in soc:
        low, high = max(z - 0.005, 0.0), min(z + 0.005, 1.0)
        rise = np.interp([low, high], kind.soc, kind.mean_v)
        assert kind.docv_dsoc(z) == approx((rise[1] - rise[0]) / (high - low))
    # rising parts: charge -> voltage -> charge, with temperature and branch
    for z in (0.05, 0.1, 0.95) if name == "lfp" else soc:
        for branch in (-1.0, 0.6):
            volts = kind.ocv_v(z, 7.0, branch)
            assert kind.soc_at(float(volts), 7.0, branch) == approx(z, abs=2e-3)


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_temperature_goes_by_arrhenius(name):
    # k = exp(E/R (1/T - 1/T0)): d ln k / d(1/T) = E/R
    kind, inverse = chemistry(name), np.array([1 / 280.0])
    for factor, energy in (
        (kind.ohmic_factor, kind.ohmic_activation_j),
        (kind.charge_factor, kind.charge_activation_j),
    ):
        slope = central_difference(lambda i, f=factor: np.log(f(1 / i - 273.15)), inverse, 1e-6)
        assert slope[0, 0] == approx(energy / 8.314462618, rel=1e-6)
        assert factor(25.0) == approx(1.0)
    gap = kind.ocv_v(0.5, 5.0, 1.0) - kind.ocv_v(0.5, 5.0, -1.0)
    expected = np.exp(kind.gap_activation_j / 8.314462618 * (1 / 278.15 - 1 / 298.15))
    assert gap == approx(2 * np.interp(0.5, kind.soc, kind.half_gap_v) * expected)
