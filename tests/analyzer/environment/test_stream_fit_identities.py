"""Set and drift from a log against a plain nonlinear least-squares fit of the same model."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from analyzer.environment import stream_bins, stream_fit
from analyzer.environment.stream import Calibration
from analyzer.series.series import Series

STEP_S = 30.0  # one sample a bin: what the fit sees is what is written here
TIDE = 2 * np.pi / (0.51753 * 86400.0)
EDDY_S, KNOT_S, NOISE, LEG = 7200.0, 600.0, 0.10, 0.06  # as the module states them
SIZES, JUDGED = (0.08, 0.25, 0.75), 0.7
PLACES = ((0.5, 1.0), (1.0, 0.1))  # steady part and tide over a stream's size
KINDS = [(size, place) for size in SIZES for place in PLACES]


def legs_log(seed: int, legs: int = 7, bins: int = 25, error_deg: float = 1.5) -> Series:
    """Straight legs in a turning stream, a log that shows a little too much, a compass off."""
    rng = np.random.default_rng(seed)
    n = legs * bins
    heading = np.repeat(rng.permutation(np.arange(legs) * 360 / legs) + rng.uniform(0, 30), bins)
    t = np.arange(n) * STEP_S
    through = np.repeat(rng.uniform(1.5, 2.6, legs), bins)
    true = np.radians(heading - error_deg)
    east = through * np.sin(true) + 0.4 * np.cos(TIDE * t) + 0.05 * rng.standard_normal(n)
    north = through * np.cos(true) - 0.2 + 0.05 * rng.standard_normal(n)
    log = through / 1.05 + 0.02 * rng.standard_normal(n)
    values = {
        "speed_ground_mps": np.hypot(east, north),
        "course_ground_deg": np.degrees(np.arctan2(east, north)) % 360,
        "heading_true_deg": heading % 360,
        "speed_water_mps": log,
    }
    return Series(1_000_000_000_000, STEP_S, n, values)


def noise_var(heading: np.ndarray) -> np.ndarray:
    """Variance of a bin such that the mean of a leg is never better than what a leg shares."""
    var, start = np.zeros(len(heading)), 0
    for k in range(1, len(heading) + 1):
        if k == len(heading) or abs((heading[k] - heading[k - 1] + 180) % 360 - 180) > 20.05:
            var[start:k] = NOISE**2 + (k - start) * LEG**2
            start = k
    return var


class Plain:
    """The model written out: stream = steady + tide from now + eddies between knots."""

    def __init__(self, log: Series, kind, factor_sd: float = 0.06, factor: float = 1.0):
        size, (steady, tide) = kind
        v, t = log.values, log.t_utc_s
        now = t[-1] + STEP_S
        self.grid = np.linspace(t[0], now, int(np.ceil((now - t[0]) / KNOT_S)) + 1)
        m = len(self.grid)
        self.basis = self.at(t)
        self.h = np.radians(v["heading_true_deg"])
        course = np.radians(v["course_ground_deg"])
        self.ground = v["speed_ground_mps"] * np.stack([np.sin(course), np.cos(course)])
        self.water = v["speed_water_mps"]
        self.var = noise_var(v["heading_true_deg"])
        eddy = (0.35 * size + 0.02) ** 2
        apart = np.abs(self.grid[:, None] - self.grid)
        tides = [(tide * size) ** 2] * 2
        one = np.diag([(steady * size) ** 2, *tides] + [0.0] * m)
        one[3:, 3:] = eddy * np.exp(-apart / EDDY_S)
        self.prior = np.zeros((2 * (m + 3) + 2,) * 2)
        self.prior[: m + 3, : m + 3] = self.prior[m + 3 : -2, m + 3 : -2] = one
        self.prior[-2, -2], self.prior[-1, -1] = factor_sd**2, np.radians(3.0) ** 2
        self.mean = np.zeros(len(self.prior))
        self.mean[-2] = factor
        self.root = np.linalg.cholesky(np.linalg.inv(self.prior)).T

    def at(self, t_s: np.ndarray) -> np.ndarray:
        """A component at times from its parts, (n, m + 3)."""
        rows = []
        for t in t_s:
            angle = TIDE * (t - self.grid[-1])
            knots = [
                np.interp(t, self.grid, np.eye(len(self.grid))[j]) for j in range(len(self.grid))
            ]
            rows.append([1.0, np.cos(angle), np.sin(angle), *knots])
        return np.array(rows)

    def residuals(self, x: np.ndarray) -> np.ndarray:
        """Along and across the heading, then the prior's, each over its standard deviation."""
        p = self.basis.shape[1]
        east, north = self.basis @ x[:p], self.basis @ x[p : 2 * p]
        e, n = self.ground[0] - east, self.ground[1] - north
        along = e * np.sin(self.h) + n * np.cos(self.h) - x[-2] * self.water
        across = e * np.cos(self.h) - n * np.sin(self.h) + x[-1] * x[-2] * self.water
        sd = np.sqrt(self.var)
        return np.concatenate([along / sd, across / sd, self.root @ (x - self.mean)])

    def fit(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Mean, covariance, log evidence but for a constant."""
        found = least_squares(self.residuals, self.mean, xtol=1e-12, ftol=1e-12)
        precision = found.jac.T @ found.jac
        evidence = -found.cost
        evidence += 0.5 * np.linalg.slogdet(np.linalg.inv(self.prior))[1]
        evidence -= 0.5 * np.linalg.slogdet(precision)[1]
        return found.x, np.linalg.inv(precision), evidence


def mixed(log: Series, **kwargs) -> tuple[Plain, np.ndarray, np.ndarray]:
    """Fits for every kind of stream, mixed by evidence; a share keeps all as likely."""
    models = [Plain(log, kind, **kwargs) for kind in KINDS]
    fits = [m.fit() for m in models]
    chance = np.exp([f[2] - max(g[2] for g in fits) for f in fits])
    chance = JUDGED * chance / chance.sum() + (1 - JUDGED) / len(KINDS)
    mean = sum(c * f[0] for c, f in zip(chance, fits, strict=True))
    cov = sum(
        c * (f[1] + np.outer(f[0] - mean, f[0] - mean)) for c, f in zip(chance, fits, strict=True)
    )
    return models[0], mean, cov


@pytest.mark.parametrize("seed", range(3))
def test_stream_and_calibration_equal_a_plain_fit(seed):
    log = legs_log(seed)
    model, mean, cov = mixed(log)
    stream = stream_fit.estimate(log)
    p = model.basis.shape[1]
    at = model.at(model.grid)
    want = np.stack([at @ mean[:p], at @ mean[p : 2 * p]], axis=1)
    np.testing.assert_allclose(stream.t_s, model.grid, atol=1e-6)
    np.testing.assert_allclose(stream.mean_mps, want, atol=2e-3)
    both = np.zeros((len(at), 2, 2 * p))
    both[:, 0, :p] = both[:, 1, p:] = at
    want_cov = np.einsum("tai,ij,tbj->tab", both, cov[: 2 * p, : 2 * p], both)
    np.testing.assert_allclose(stream.cov, want_cov, atol=0.02 * want_cov.max())
    assert stream.calibration.water_factor == pytest.approx(
        (mean[-2], np.sqrt(cov[-2, -2])), rel=0.01, abs=1e-4
    )
    assert stream.calibration.compass_error_deg == pytest.approx(
        (np.degrees(mean[-1]), np.degrees(np.sqrt(cov[-1, -1]))), rel=0.02, abs=0.03
    )
    parts = [0, 1, 2, p - 1, p, p + 1, p + 2, 2 * p - 1]
    np.testing.assert_allclose(stream.parts_mean, mean[parts], atol=3e-3)
    want_parts = cov[np.ix_(parts, parts)]
    np.testing.assert_allclose(stream.parts_cov, want_parts, atol=0.02 * want_parts.max())
    assert stream.known == bool(np.sqrt(np.linalg.eigvalsh(want_cov[-1])[-1]) <= 0.18)


def test_an_earlier_calibration_is_a_prior_a_little_less_sure():
    log = legs_log(4, legs=2)
    before = Calibration(water_factor=(1.08, 0.01))
    _, mean, cov = mixed(log, factor=1.08, factor_sd=float(np.hypot(0.01, 0.02)))
    stream = stream_fit.estimate(log, before=before)
    assert stream.calibration.water_factor == pytest.approx(
        (mean[-2], np.sqrt(cov[-2, -2])), rel=0.01
    )


def some_bins(n: int = 30) -> stream_bins.Bins:
    rng = np.random.default_rng(2)
    return stream_bins.Bins(
        t_s=np.arange(n) * 30.0,
        ground=rng.normal(0, 1.5, (n, 2)),
        heading_rad=rng.uniform(-3, 3, n),
        water=rng.uniform(1, 3, n),
        shaft=rng.uniform(4, 12, n),
        sailed=rng.random(n) < 0.3,
    )


@pytest.mark.parametrize("column", [0, 1])
@pytest.mark.parametrize("error_rad", [0.0, 0.06])
def test_rows_are_the_derivatives_of_what_is_left_over(column, error_rad):
    bins = some_bins()
    grid = np.linspace(0.0, 900.0, 3)
    weights = stream_fit._component(bins.t_s, grid)
    reading = bins.water if column == 0 else bins.shaft
    ok = np.random.default_rng(3).random(30) < 0.8
    sensed = stream_bins.Sensed(column, ok, reading)
    rng = np.random.default_rng(4)
    at = np.concatenate([rng.normal(0, 0.3, 2 * weights.shape[1]), [1.04, 0.2, error_rad]])

    def left_over(x: np.ndarray) -> np.ndarray:
        rows, target, _ = stream_fit._rows(bins, weights, sensed, x)
        return target - rows @ x

    rows = stream_fit._rows(bins, weights, sensed, at)[0]
    step = 1e-5
    for j in range(len(at)):
        nudge = step * np.eye(len(at))[j]
        slope = -(left_over(at + nudge) - left_over(at - nudge)) / (2 * step)
        want = rows[:, j].copy()
        if j == 2 * weights.shape[1] + column:
            # the compass error times the factor is linearised in the error alone: across the
            # heading the factor's own share, error times reading, is left to the next round
            want[ok.sum() :] -= error_rad * reading[ok]
        np.testing.assert_allclose(slope, want, atol=1e-7)


def test_components_are_steady_tide_and_the_knots_either_side():
    grid = np.array([100.0, 700.0, 1300.0])
    rows = stream_fit._component(np.array([400.0, 1300.0]), grid)
    np.testing.assert_allclose(rows[0, 1:3], [np.cos(-900 * TIDE), np.sin(-900 * TIDE)])
    np.testing.assert_allclose(rows[:, 3:], [[0.5, 0.5, 0.0], [0.0, 0.0, 1.0]])
    np.testing.assert_allclose(rows[1, :3], [1.0, 1.0, 0.0])


def test_eddies_precision_is_the_inverse_of_their_covariance():
    grid = np.linspace(0.0, 4_800.0, 9)
    cov = 0.2**2 * np.exp(-np.abs(grid[:, None] - grid) / EDDY_S)
    np.testing.assert_allclose(stream_fit._eddy_precision(grid, 0.2) @ cov, np.eye(9), atol=1e-9)


def test_means_of_bins_against_a_loop():
    rng = np.random.default_rng(5)
    values = np.where(rng.random(103) < 0.45, np.nan, rng.normal(size=103))
    got = stream_bins.mean_bins(values, 10)
    assert len(got) == 10
    for k in range(10):
        there = [v for v in values[10 * k : 10 * k + 10] if np.isfinite(v)]
        if len(there) >= 5:
            assert got[k] == pytest.approx(np.mean(there))
        else:
            assert np.isnan(got[k])


def test_heading_is_true_else_magnetic_with_the_variation():
    values = {
        "heading_true_deg": np.array([10.0, np.nan, np.nan]),
        "heading_magnetic_deg": np.array([20.0, 358.0, 90.0]),
        "variation_deg": np.array([3.0, 5.0, -4.0]),
    }
    np.testing.assert_allclose(
        stream_bins.heading_true(Series(0, 1.0, 3, values)), [10.0, 3.0, 86.0]
    )


def test_a_propeller_never_seen_before_advances_by_its_pitch_less_usual_slip():
    # slip is by definition 1 - advance / pitch; a displacement boat's 0.30 ± 0.12 (common
    # practice, no source; stream_fit.py)
    bins, ok = some_bins(), np.ones(30, dtype=bool)
    mean, sd = stream_fit._priors(bins, ok, 0.25, Calibration())
    assert 1 - mean[1] / 0.25 == pytest.approx(0.30)
    assert sd[1] / 0.25 == pytest.approx(0.12)
