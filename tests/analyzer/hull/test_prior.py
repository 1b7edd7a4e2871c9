"""The first day's curve put together by hand from its published parts. Boats invented."""

import math

import numpy as np
import pytest

from analyzer.hull import holtrop, prior, resistance
from analyzer.hull.drive import drive_cov, efficiency_mid, ideal_efficiency
from analyzer.series.physics import GRAVITY
from logger.boat import Hull
from tests.support.hull_boat import boat

LAUNCH = Hull(
    kind="motor_launch", waterline_m=5.0, beam_waterline_m=1.7, draught_m=0.4, displacement_kg=700
)


def at_froude(hull: Hull, froude: float) -> np.ndarray:
    return np.array([froude * math.sqrt(GRAVITY * hull.waterline_m)])


@pytest.mark.parametrize(("froude", "share"), [(0.30, 0.5), (0.50, 0.25), (0.60, 0.0)])
def test_a_launch_is_the_geometric_mean_of_two_methods(froude: float, share: float):
    """Half and half up to 0.45, Holtrop's part gone at 0.55; the transom is his alone."""
    speed = at_froude(LAUNCH, froude)
    friction, waves, _ = prior.tow_parts_n(LAUNCH, speed)
    form = prior.form(LAUNCH)
    section = form.volume_m3 / (form.prismatic * 5.0)
    ship = holtrop.Ship(
        length_m=5.0, beam_m=1.7, draught_fore_m=section / (0.75 * 1.7),
        draught_aft_m=section / (0.75 * 1.7), volume_m3=form.volume_m3, prismatic=form.prismatic,
        midship=0.75, waterplane=0.75, lcb_pct=-3.5, transom_area_m2=0.25 * section,
        appendage_area_m2=0.05 * form.wetted_area_m2,
    )  # fmt: skip
    viscous, other = holtrop.resistance_parts_n(ship, speed)
    delft = resistance.residuary_n(form, speed, appended=False)
    plate = resistance.friction_n(speed, 5.0, 1.05 * form.wetted_area_m2)
    assert waves == pytest.approx(delft ** (1 - share) * other**share, rel=1e-9)
    assert friction == pytest.approx(1.10 * plate ** (1 - share) * viscous**share, rel=1e-9)


def test_a_catamaran_is_two_slender_hulls():
    hull = Hull(
        kind="catamaran", waterline_m=9.0, beam_waterline_m=5.0, draught_m=0.8, displacement_kg=4000
    )
    form = prior.form(hull)
    assert form.volume_m3 == pytest.approx(4000 / 1025 / 2)
    assert form.beam_m == pytest.approx(1.0)  # a ninth of the length
    speed = at_froude(hull, 0.35)
    friction, waves, _ = prior.tow_parts_n(hull, speed)
    assert waves == pytest.approx(2 * resistance.residuary_n(form, speed))
    one = resistance.friction_n(speed, 9.0, 1.05 * form.wetted_area_m2)
    assert friction == pytest.approx(1.10 * 2 * one)


def test_a_keel_s_volume_is_not_the_body_s():
    """Four per cent of the displacement is keel where there is one; none of a launch's."""
    for kind, share in (("fin_keel", 0.96), ("long_keel", 0.96), ("light_keel", 1.0)):
        volume = prior.form(boat(kind=kind).hull).volume_m3
        assert volume == pytest.approx(share * 5200 / 1025)


def test_power_is_resistance_times_speed_over_efficiency_and_no_load():
    of = boat()
    speed = prior.FROUDE_GRID * math.sqrt(GRAVITY * 8.2)
    usual = at_froude(of.hull, 0.28)
    total = np.sum(prior.tow_parts_n(of.hull, speed), axis=0)
    there = np.sum(prior.tow_parts_n(of.hull, usual), axis=0)
    ratio = ideal_efficiency(total, speed, 0.04 * 8.2) / ideal_efficiency(there, usual, 0.04 * 8.2)
    want = total * speed / (math.sqrt(0.30 * 0.55) * ratio) + 0.004 * 8000
    assert np.exp(prior.prior(of).log_power) == pytest.approx(np.maximum.accumulate(want))
    assert efficiency_mid(8000.0) == pytest.approx(math.sqrt(0.30 * 0.55))


def test_the_drive_s_doubt_by_hand():
    """Half of the 80 % range in logarithms over 1.2816; 12 % of friction and per factor e; 25 %
    at a standstill, fading over a Froude number of 0.10."""
    froude, share = np.array([0.25, 0.40]), np.array([0.3, 0.7])
    one = math.log(0.55 / 0.30) / 2 / 1.2815515655446004
    shapes = np.array([
        [one, one],
        [0.12 * 0.7, 0.12 * 0.3],
        [0.0, 0.12 * math.log(0.40 / 0.25)],
        [0.25 * math.exp(-2.5), 0.25 * math.exp(-4.0)],
    ])  # fmt: skip
    assert drive_cov(froude, share, 8000.0) == pytest.approx(shapes.T @ shapes)


def test_a_series_doubt_is_doubled_for_unusual_hulls():
    """8 % alike, 8 % per factor e, 20 % of the waves; wiggles of 6 % and, from 0.28 on, the hump's
    20 % for each tenth, at most one and a half times."""
    froude, share = np.array([0.20, 0.48]), np.array([0.1, 0.8])
    cov, local = prior.series_cov(froude, share)
    hump = np.array([0.0, 0.20 * 1.5])
    near = np.exp(-0.5 * ((0.28 / np.array([0.06, 0.08])) ** 2))
    wiggles = 0.06**2 * np.array([[1, near[0]], [near[0], 1]])
    humps = np.outer(hump, hump) * np.array([[1, near[1]], [near[1], 1]])
    assert local == pytest.approx(wiggles + humps)
    shapes = np.array([[0.08, 0.08], 0.08 * np.log(froude / 0.25), 0.20 * share])
    assert cov == pytest.approx(shapes.T @ shapes + local)
    twice, _ = prior.series_cov(froude, share, unusual=2.0)
    assert twice == pytest.approx(4 * cov)


@pytest.mark.parametrize(("raw", "kept"), [(0.30, 0.50), (0.70, 0.70), (1.20, 0.98)])
def test_a_draught_that_does_not_fit_the_rest_leaves_a_section_that_can_be(raw, kept):
    """A midship section fills at least half of its box (a wedge) and never all of it."""
    plain = prior.form(LAUNCH)
    section = plain.volume_m3 / (plain.prismatic * 5.0)
    hull = LAUNCH.model_copy(update={"body_draught_m": section / (raw * 1.7)})
    assert prior.form(hull).midship == pytest.approx(kept)
    ship = prior._launch(hull, prior.form(hull))
    assert ship.midship == pytest.approx(kept)
    assert ship.draught_m == pytest.approx(section / (raw * 1.7))


@pytest.mark.parametrize(
    ("kind", "factor"), [("long_keel", 1.30), ("fin_keel", 1.20), ("light_keel", 1.15)]
)
def test_keel_and_rudder_add_what_is_usual_of_their_kind(kind, factor):
    hull = boat(kind=kind).hull
    speed, area = at_froude(hull, 0.25), factor * prior.form(hull).wetted_area_m2
    friction, _, _ = prior.tow_parts_n(hull, speed)
    assert friction == pytest.approx(1.10 * resistance.friction_n(speed, 8.2, area))
    told = hull.model_copy(update={"wetted_area_m2": 20.0})
    friction, _, _ = prior.tow_parts_n(told, speed)
    assert friction == pytest.approx(1.10 * resistance.friction_n(speed, 8.2, 20.0))


@pytest.mark.parametrize(("kind", "last"), [("fin_keel", 0.60), ("motor_launch", 0.75)])
def test_curves_reach_as_far_as_their_series_in_hundredths(kind, last):
    speed = prior.prior(boat(kind=kind)).speed_mps / math.sqrt(GRAVITY * 8.2)
    assert speed == pytest.approx(np.arange(0.04, last + 0.001, 0.01))
