"""The median cell's own curve, beside the curve that its readings were made of and by algebra."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.full_place import axes
from analyzer.cells.levels import LEVEL_C, Levels
from analyzer.cells.median_curve import CHARGE, Axis, MedianCurve, _likeliest
from analyzer.cells.published_curve import KNEE_SD, OVER_V, REVERSED_V, PublishedCurve
from analyzer.pack.cell_model import chemistry
from logger.boat import Pack
from tests.support.cell_levels import run_down
from tests.support.gaussians import central_difference

KIND = chemistry("nmc")
PACK = Pack(chemistry="nmc", cells_in_series=4, rated_capacity_ah=50)


def given(first=0.95, last=0.15, off_v=0.0, ohm=0.0, amps=10.0):
    """A discharge on the published curve, shifted as a whole."""
    levels = Levels(PACK, 4)
    for soc in np.arange(first, last, -amps * 10 / 3600 / 50):
        volts = float(KIND.ocv_v(soc, 25.0, -1.0)) + off_v - ohm * amps
        levels.move(volts, amps, 10.0)
        levels.add(volts, np.zeros(4), amps, 10.0)
    return levels.table()


@pytest.mark.parametrize("off_v", [0.0, 0.02])
def test_a_cell_with_less_charge_shows_what_the_median_shows_later(off_v):
    table = given(off_v=off_v)
    curve = MedianCurve(table, KIND, Axis(0.95), 1e-9)
    middle = np.flatnonzero((table.place > 0.2) & (table.place < 0.5))
    shown = curve.shown(np.full((1, len(table.place)), 0.1))
    charge = 0.95 - table.place[middle]
    # the curve that the readings were made of; no offset shows in a difference
    expected = KIND.ocv_v(charge - 0.1, 25.0, -1.0) - KIND.ocv_v(charge, 25.0, -1.0)
    assert shown.volts[0, middle] == approx(expected, abs=0.004)


def test_no_shift_shows_nothing_and_doubts_nothing():
    shown = MedianCurve(given(), KIND, Axis(0.95), 1e-9).shown(np.zeros((1, len(given().place))))
    assert shown.volts == approx(0.0, abs=1e-12)
    assert (shown.doubt_v == 0.0).all()


def test_what_was_not_seen_is_doubted_more():
    table = given(last=0.5)
    curve = MedianCurve(table, KIND, Axis(0.95), 1e-9)
    shift = np.tile([[0.05], [0.2], [0.4]], len(table.place))
    deepest = int(np.argmax(table.place))
    doubt_v = curve.shown(shift).doubt_v[:, deepest]
    assert (np.diff(doubt_v) > 0).all()


def test_depth_is_what_was_given_from_full():
    table = given()
    assert MedianCurve(table, KIND, Axis(0.95), 1e-9).depth == approx(1 - (0.95 - table.place))


def test_a_smaller_pack_stands_lower_after_the_same_charge():
    table = given()
    curve = MedianCurve(table, KIND, Axis(1.0, 0.8), 1e-9)
    # charge is counted in the label's Ah; a pack of four fifths of it is empty after four fifths
    assert curve.charge == approx(1 - table.place / 0.8)
    assert curve.depth == approx(table.place)
    assert Axis(1.0, 0.8).at(np.array([0.8]))[0] == approx(0.0)


def test_slope_is_the_derivative_of_the_published_curve():
    curve = PublishedCurve(KIND, 1)
    charge = np.linspace(0.15, 0.9, 16)
    slope = central_difference(lambda c: curve.at(c).volts, charge, 0.005)
    assert curve.at(charge).steep == approx(np.diag(slope), rel=1e-6)
    over, under = curve.at(np.array([1.5])), curve.at(np.array([-5.0]))
    assert over.volts[0] == approx(float(KIND.ocv_v(1.0, 25.0, -1.0)) + OVER_V)
    assert under.volts[0] == REVERSED_V


def test_covariance_is_one_and_its_diagonal_is_the_variance():
    curve = PublishedCurve(KIND, -1)
    points = curve.at(CHARGE[::9])
    covariance = curve.covariance(points, points)
    assert np.diag(covariance) == approx(curve.variance(points))
    assert covariance == approx(covariance.T)
    assert np.linalg.eigvalsh(covariance).min() > -1e-12
    flat = curve.variance(curve.at(np.array([0.5])))[0]
    steep = curve.at(np.array([0.01]))
    # the place of a bend counts by the slope there
    assert curve.variance(steep)[0] - flat == approx(
        KNEE_SD**2 * (steep.steep[0] ** 2 - curve.at(np.array([0.5])).steep[0] ** 2)
    )


@pytest.mark.parametrize("noise_v", [0.0005, 0.004])
def test_noise_is_that_of_the_readings(noise_v):
    rng = np.random.default_rng(5)
    x = np.arange(120) * LEVEL_C
    smooth = 1e-4 * np.exp(-0.5 * ((x[:, None] - x) / 0.1) ** 2)
    values = rng.multivariate_normal(np.zeros(120), smooth) + rng.normal(0, noise_v, 120)
    factor, white = _likeliest(smooth, values)
    assert factor @ white == approx(values, abs=1e-12)
    left = factor @ factor.T - smooth
    # the one that was tried nearest to it
    assert np.sqrt(np.diag(left)) == approx(noise_v, rel=1e-6)


def test_place_of_full_is_found_on_a_steep_curve_and_open_on_a_flat_one():
    table = given(first=0.85)
    assert table.full_place is None
    likely = axes(table, KIND, 1e-9)
    assert np.mean([axis.charge for axis in likely]) == approx(0.85, abs=0.05)
    flat = chemistry("lfp")
    pack = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=50)
    levels = run_down(pack, 10.0, 0.62, 0.45)
    likely = axes(levels.table(), flat, 1e-9)
    assert np.ptp([axis.charge for axis in likely]) > 0.1


@pytest.mark.parametrize("held", [0.8, 0.95])
def test_what_the_pack_holds_is_found_from_full_to_low(held):
    """Made of the published curve with so much of the label; NMC's bends tell it."""
    levels, amps = Levels(PACK, 4), 10.0
    rest = [(float(KIND.ocv_v(1.0, 25.0, 1.0)), -0.1)] * 12  # full: held at the top
    down = np.arange(1.0, 0.02, -amps * 10 / 3600 / 50 / held)
    given_v = [(float(KIND.ocv_v(soc, 25.0, -1.0)), amps) for soc in down]
    for volts, current_a in [*rest, *given_v]:
        levels.move(volts, current_a, 10.0)
        levels.add(volts, np.zeros(4), current_a, 10.0)
    table = levels.table()
    assert table.full_place is not None
    likely = axes(table, KIND, 1e-9)
    assert np.mean([axis.held for axis in likely]) == approx(held, abs=0.05)
    assert all(axis.at(np.array([table.full_place]))[0] == approx(1.0) for axis in likely)


def test_what_cannot_be_seen_of_the_capacity_stays_as_packs_in_service_have_it():
    flat = chemistry("lfp")
    pack = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=50)
    likely = axes(run_down(pack, 10.0, 0.62, 0.45).table(), flat, 1e-9)
    held = np.log([axis.held for axis in likely])
    weight, mean, sd = np.array(flat.capacity).T
    middle = weight @ mean / weight.sum()
    spread = np.sqrt(weight @ (sd**2 + (mean - middle) ** 2) / weight.sum())
    # the middles of four equal parts spread by less than what they stand for
    assert held.mean() == approx(middle, abs=0.03)
    assert 0.4 * spread < held.std() < 1.2 * spread
