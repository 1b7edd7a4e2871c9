"""Power curves against sampling and plain interpolation; resistance at its formulas' seams."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.hull import holtrop
from analyzer.hull.power_curve import PowerCurve, smooth_cov
from analyzer.hull.resistance import (
    form_from_ratios,
    friction_n,
    residuary_frac,
    residuary_n,
)
from analyzer.range.reach import speeds_for
from logger.units import KN


def curve(seed: int = 1) -> PowerCurve:
    rng = np.random.default_rng(seed)
    speed = np.cumsum(rng.uniform(0.08, 0.25, 25)) + 0.2
    cov = smooth_cov(np.log(speed), 0.4, rng.uniform(0.05, 0.3, 25)) + 1e-9 * np.eye(25)
    return PowerCurve(speed, np.log(90 * speed**3), cov)


def test_reading_between_grid_speeds_is_interpolation():
    c, rng = curve(), np.random.default_rng(2)
    lines = rng.normal(6, 1, (8, 25))
    at = rng.uniform(0.0, 6.0, 30)
    want = np.array([np.interp(at, c.speed_mps, line) for line in lines])

    def cubed(speed):  # above the grid: constant drag coefficient, power with the cube of speed
        return np.where(speed > c.speed_mps[-1], 3 * np.log(speed / c.speed_mps[-1]), 0.0)

    np.testing.assert_allclose(c.read(lines, at), want + cubed(at))
    np.testing.assert_allclose(lines @ c.weights(at).T, want)
    np.testing.assert_allclose(c.cov_rows(at), c.weights(at) @ c.cov, atol=1e-15)
    own = rng.uniform(0.0, 6.0, (8, 3))
    want = [np.interp(own[i], c.speed_mps, lines[i]) for i in range(8)]
    np.testing.assert_allclose(c.read_each(lines, own), want + cubed(own))
    np.testing.assert_allclose(c.at_own(lines, own[:, 0]), np.array(want)[:, 0])
    np.testing.assert_allclose(c.read_own(lines, own[:, 0]), (want + cubed(own))[:, 0])


def test_lines_have_the_curves_mean_and_covariance():
    c, n = curve(), 60_000
    lines = c.lines(n, np.random.default_rng(3))
    sd = np.sqrt(np.diag(c.cov))
    # four standard errors
    np.testing.assert_allclose((lines.mean(axis=0) - c.log_power) / sd, 0, atol=4 / np.sqrt(n))
    error = (np.cov(lines.T) - c.cov) / np.outer(sd, sd)
    assert np.abs(error).max() < 4 * np.sqrt(2 / n)
    at = np.array([1.13, 2.41])
    read = c.read(lines, at)
    np.testing.assert_allclose(read.std(axis=0), c.log_sd(at), rtol=0.012)
    middle = c.power_w(1.13)
    low, mid, high = np.exp(np.percentile(read[:, 0], (10, 50, 90)))
    assert (middle.low, middle.mid, middle.high) == pytest.approx((low, mid, high), rel=0.01)
    assert (np.diff(c.draws(c.speed_mps, 200, np.random.default_rng(1)), axis=1) >= 0).all()


def test_smooth_covariance_entry_by_entry():
    at, sd = np.array([0.0, 0.3, 1.1]), np.array([0.1, 0.2, 0.4])
    got = smooth_cov(at, 0.5, sd)
    for i, j in np.ndindex(3, 3):
        want = sd[i] * sd[j] * np.exp(-((at[i] - at[j]) ** 2) / (2 * 0.5**2))
        assert got[i, j] == pytest.approx(want)
    np.testing.assert_allclose(np.diag(smooth_cov(at, 0.5, 0.3)), 0.09)


def test_slope_is_the_local_exponent():
    c = curve()
    np.testing.assert_allclose(c.slope(c.speed_mps), 3.0, rtol=1e-9)
    bent = replace(c, log_power=c.log_power + 0.3 * np.log(c.speed_mps) ** 2)
    inner = slice(1, -1)
    want = 3 + 0.6 * np.log(c.speed_mps)
    np.testing.assert_allclose(bent.slope(c.speed_mps)[inner], want[inner], rtol=1e-9)


def test_curve_kept_and_read_again():
    c = replace(curve(), seen_mps=(1.0, 2.0), local=0.5 * curve().cov, minutes=12.0)
    again = PowerCurve.from_dict(c.to_dict())
    np.testing.assert_allclose(again.cov, c.cov, atol=1e-7)
    np.testing.assert_allclose(again.local, c.local, atol=1e-7)
    np.testing.assert_array_equal(again.log_power, c.log_power)
    assert (again.seen_mps, again.minutes) == ((1.0, 2.0), 12.0)


@pytest.mark.parametrize("rated_w", [300.0, 1_200.0, 5_000.0, 9_000.0])
def test_speeds_worth_asking_are_round_and_end_at_what_the_motor_drives(rated_w):
    c = curve()
    speeds = speeds_for(c, rated_w)
    assert len(speeds) <= 20
    top = max(v for v in c.speed_mps if 90 * v**3 <= rated_w)
    assert speeds[-1] == pytest.approx(top)
    steps = np.diff(speeds[:-1] / KN)
    np.testing.assert_allclose(steps, steps[0])
    assert any(steps[0] == pytest.approx(step) for step in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0))
    rounds = speeds[:-1] / KN / steps[0]
    np.testing.assert_allclose(rounds, np.round(rounds), atol=1e-9)
    assert 0.25 * top <= speeds[0] < 0.25 * top + steps[0] * KN
    assert 0.2 * steps[0] * KN <= top - speeds[-2] + 1e-9 <= 1.2 * steps[0] * KN + 1e-9


def ship(**changes) -> holtrop.Ship:
    """About a heavy motor boat; invented."""
    base = holtrop.Ship(
        length_m=12.0, beam_m=3.4, draught_fore_m=1.1, draught_aft_m=1.2, volume_m3=17.0,
        prismatic=0.6, midship=0.8, waterplane=0.75, lcb_pct=-1.0, transom_area_m2=0.4,
    )  # fmt: skip
    return replace(base, **changes)


def seam(of, at: float, make) -> float:
    """Relative jump of a function where its formula changes."""
    below, above = of(make(at - 1e-7)), of(make(at + 1e-7))
    return float(np.abs(above / below - 1).max())


SPEED = np.array([1.5, 2.8, 4.0])
# the published formulas meet where their ranges do, to the digits of their coefficients
SEAMS = [
    ("draught 0.05", holtrop.c12, 0.05 * 12,
     lambda t: ship(draught_fore_m=t, draught_aft_m=t), 2e-3),
    ("draught 0.02", holtrop.c12, 0.02 * 12,
     lambda t: ship(draught_fore_m=t, draught_aft_m=t), 1e-5),
    ("beam 0.11", holtrop.c7, 0.11 * 12, lambda b: ship(beam_m=b), 2e-4),
    ("beam 0.25", holtrop.c7, 0.25 * 12, lambda b: ship(beam_m=b), 1e-6),
    ("slender 512", lambda s: holtrop.wave_n(s, SPEED), 12**3 / 512,
     lambda v: ship(volume_m3=v), 1e-4),
    ("slender 1727", lambda s: holtrop.wave_n(s, SPEED), 12**3 / 1727,
     lambda v: ship(volume_m3=v), 5e-3),
    ("prismatic 0.80", lambda s: holtrop.wave_n(s, SPEED), 0.80,
     lambda c: ship(prismatic=c), 5e-3),
    ("length / beam 12", lambda s: holtrop.wave_n(s, SPEED), 1.0,
     lambda b: ship(beam_m=b), 1e-4),
]  # fmt: skip


@pytest.mark.parametrize(
    ("of", "at", "make", "most"), [s[1:] for s in SEAMS], ids=[s[0] for s in SEAMS]
)
def test_formulas_meet_at_their_seams(of, at, make, most):
    assert seam(of, at, make) < most


def test_transom_runs_dry_at_its_froude_number_of_five():
    hull = ship()
    dry = 5 * np.sqrt(2 * 9.80665 * 0.4 / (3.4 * (1 + 0.75)))
    speed = np.array([0.5 * dry, 0.999 * dry, 1.2 * dry])
    force = holtrop.transom_n(hull, speed)
    # the published coefficient: 0.2 · (1 - 0.2 · Froude number)
    assert force[0] == pytest.approx(0.5 * 1025 * speed[0] ** 2 * 0.4 * 0.1)
    assert force[1] == pytest.approx(0.5 * 1025 * speed[1] ** 2 * 0.4 * 0.2 * 0.001)
    assert force[2] == 0


def test_parts_add_up():
    hull = ship(appendage_area_m2=2.0)
    bare = ship()
    viscous, waves = holtrop.resistance_parts_n(hull, SPEED)
    without, same = holtrop.resistance_parts_n(bare, SPEED)
    np.testing.assert_allclose(viscous - without, 1.5 * holtrop.friction_n(hull, SPEED, 2.0))
    np.testing.assert_array_equal(waves, same)
    np.testing.assert_allclose(waves, holtrop.wave_n(bare, SPEED) + holtrop.transom_n(bare, SPEED))


def test_friction_by_the_1957_line():
    # Rn = v · 0.7 L / nu; C = 0.075 / (log10 Rn - 2)²; R = C · rho/2 · v² · S
    for speed in (0.7, 2.5):
        reynolds = speed * 0.7 * 8.0 / 1.19e-6
        want = 0.075 / (np.log10(reynolds) - 2) ** 2 * 0.5 * 1025 * speed**2 * 14.0
        assert friction_n(np.array([speed]), 8.0, 14.0)[0] == pytest.approx(want)


def test_residuary_resistance_rises_smoothly_and_by_powers_outside():
    """Below its series by the fourth power, above by the square: a constant drag coefficient."""
    form = form_from_ratios(-2.3, 0.568, 4.78, 3.99, 3.17)
    froude = np.linspace(0.1, 1.0, 3601)
    frac = residuary_frac(form, froude)
    assert (np.diff(frac)[froude[1:] < 0.6] > 0).all()
    assert (np.diff(frac) > -1e-12).all()  # a heavy one may stand still where it begins to plane
    slope = np.diff(np.log(frac)) / np.diff(np.log(froude))
    assert np.abs(np.diff(slope)).max() < 0.15  # no corner
    for outside, power in ((froude < 0.17, 4.0), (froude > 0.86, 2.0)):
        np.testing.assert_allclose(slope[outside[1:] & outside[:-1]], power, atol=0.02)
    weight = form.volume_m3 * 1025 * 9.80665
    speed = froude * np.sqrt(9.80665 * form.length_m)
    np.testing.assert_allclose(residuary_n(form, speed), frac * weight, rtol=1e-9)
