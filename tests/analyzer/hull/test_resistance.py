"""Friction line, Delft series, the forms they want, and the propeller's ideal efficiency."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from analyzer.hull import hull
from analyzer.hull.drive import diameter_m, efficiency_range, ideal_efficiency
from analyzer.hull.resistance import (
    FROUDE,
    Form,
    form_from_ratios,
    friction_coefficient,
    friction_n,
    residuary_frac,
    residuary_n,
)
from analyzer.series.physics import GRAVITY
from tests.support.hull_boat import boat


def test_friction_coefficient_gives_the_line_s_values():
    # ITTC-57: CF = 0.075 / (log10 Re - 2)^2 worked by hand at round Reynolds numbers
    got = friction_coefficient(np.array([1e6, 1e7, 1e9]))
    assert got == pytest.approx([0.0046875, 0.0030000, 0.0015306], rel=1e-4)


def test_friction_coefficient_equals_the_public_test():
    # ydeos_hydrodynamics' test: 1 m/s, 10 m, nu 1.004e-6 -> 0.00300208153794
    assert friction_coefficient(np.array([10 / 1.004e-6]))[0] == pytest.approx(
        0.00300208153794, rel=1e-12
    )


def test_residuary_n_follows_the_worked_hull_of_1998():
    # Keuning & Sonnenberg 1998 polynomial worked by hand for this hull: 32.2, 211.0, 1358.8 N;
    # its rows of 0.50 to 0.60 give 5274.7, 6766.6 and 7857.4
    hull = Form(10.02, 3.17, 7.63, 25.2, 21.9, 0.535, 0.565, 0.56)
    speed = np.array([0.20, 0.30, 0.40, 0.50, 0.55, 0.60]) * np.sqrt(GRAVITY * 10.02)
    got = residuary_n(hull, speed, appended=False)
    assert got == pytest.approx([32.2, 211.0, 1358.8, 5274.7, 6766.6, 7857.4], abs=0.1)


def test_fast_hulls_go_on_as_keuning_and_katgert_s_series():
    # 2008 polynomial by hand for this hull (draught 0.57 m, Cm 0.7525): 8045.5 N at 0.60, then
    # 8584.6, 9109.1, 9390.6; the ratios to the first are what is taken
    hull = Form(10.02, 3.17, 7.63, 25.2, 21.9, 0.535, 0.565, 0.56, midship=0.7525488)
    speed = np.array([0.60, 0.65, 0.70, 0.75]) * np.sqrt(GRAVITY * 10.02)
    got = residuary_n(hull, speed, appended=False)
    want = np.array([8045.5, 8584.6, 9109.1, 9390.6])
    assert got / got[0] == pytest.approx(want / want[0], rel=1e-4)


def test_the_two_published_regressions_agree_where_both_reach():
    """A copying mistake in one of 72 coefficients would show: 1998 and 2008 within 3 per cent."""
    hull = Form(10.02, 3.17, 7.63, 25.2, 21.9, 0.535, 0.565, 0.56, midship=0.7525488)
    speed = np.array([0.50, 0.55, 0.60]) * np.sqrt(GRAVITY * 10.02)
    by_2008 = np.array([5330.6, 6899.6, 8045.5])
    assert residuary_n(hull, speed, appended=False) == pytest.approx(by_2008, rel=0.03)


def test_fresh_water_bears_less_and_resists_less():
    """Same mass: residuary force the same share of weight of a larger volume; friction by rho."""
    salt, fresh = (
        hull.prior(boat(water_density_kg_m3=density, kind="light_keel"))
        for density in (1025.0, 999.1)
    )
    slow = np.array([1.2])  # friction rules: its power goes about with density
    assert fresh.mean_w(slow) / salt.mean_w(slow) == pytest.approx(999.1 / 1025, abs=0.015)
    # ITTC 7.5-02-01-03: 999.1 kg/m3 and 1.139e-6 m2/s at 15 °C
    from analyzer.series.physics import water

    assert water(999.1).viscosity_m2_s == pytest.approx(1.139e-6)
    assert water(1025.0).viscosity_m2_s == pytest.approx(1.19e-6)
    got = friction_n(np.array([2.0]), 6.0, 10.0, water(999.1))
    reynolds = 2.0 * 0.7 * 6.0 / 1.139e-6
    want = 0.5 * 999.1 * 4 * 10 * 0.075 / (np.log10(reynolds) - 2) ** 2
    assert got == pytest.approx(want)


def test_small_drives_span_what_is_published_of_them():
    # a maker's glossary: 18 % (trolling motors) to 56 %; inboards 0.30 to 0.55
    assert efficiency_range(500.0) == pytest.approx((0.18, 0.56))
    assert efficiency_range(1000.0) == pytest.approx((0.18, 0.56))
    assert efficiency_range(4000.0) == efficiency_range(12e3) == pytest.approx((0.30, 0.55))
    low, high = efficiency_range(2000.0)  # half way in the logarithm
    assert (low, high) == pytest.approx((np.sqrt(0.18 * 0.30), np.sqrt(0.56 * 0.55)))


def test_tow_power_of_a_tank_hull_equals_the_worked_table():
    # Published hull (0.0 .565 4.77 3.99 3.15) at 8 m, residuary figures as printed; friction
    # worked with nu 1.19e-6: 79.1, 210.5, 476.5, 975.0, 2034.6, 5077.7, 11908 W
    hull = form_from_ratios(0.0, 0.565, 4.77, 3.99, 3.15, length_m=8.0)
    assert hull.volume_m3 == pytest.approx(4.7175, abs=1e-4)
    assert hull.wetted_area_m2 == pytest.approx(16.330, abs=2e-3)
    froude = np.array([0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45])
    residuary = np.array([0.24, 0.79, 1.96, 4.14, 9.07, 24.13, 55.44]) / 1000
    speed = froude * np.sqrt(GRAVITY * 8.0)
    weight = hull.volume_m3 * 1025 * GRAVITY
    power = (friction_n(speed, 8.0, hull.wetted_area_m2) + residuary * weight) * speed
    want = [79.1, 210.5, 476.5, 975.0, 2034.6, 5077.7, 11908]
    assert power == pytest.approx(want, rel=1e-3)


def test_residuary_frac_rises_and_stays_positive_outside_the_series():
    hull = Form(10.02, 3.17, 7.63, 25.2, 21.9, 0.535, 0.565, 0.56)
    share = residuary_frac(hull, np.linspace(0.02, 0.6, 100))
    assert (share > 0).all()
    assert (np.diff(share) >= 0).all()


def test_residuary_frac_is_kept_positive_where_the_polynomial_is_not():
    slender = Form(10.0, 1.4, 2.0, 14.0, 9.0, 0.52, 0.53, 0.60)
    assert (residuary_frac(slender, np.array([0.2, 0.25])) > 0).all()


def test_residuary_frac_has_no_corners_between_the_series_speeds():
    # the library's interpolation of the same kind, through the same fourteen places
    shape = form_from_ratios(0.0, 0.565, 4.77, 3.99, 3.15)
    places = np.log(FROUDE)
    places = np.concatenate([[places[0] - 0.12], places, [places[-1] + 0.12]])
    library = PchipInterpolator(places, np.log(residuary_frac(shape, np.exp(places))))
    froude = np.linspace(0.20, 0.75, 201)
    assert residuary_frac(shape, froude) == pytest.approx(np.exp(library(np.log(froude))), rel=1e-9)


@pytest.mark.parametrize(("load", "efficiency"), [(0.0, 1.0), (3.0, 2 / 3), (8.0, 0.5)])
def test_ideal_efficiency_of_a_thrust_load(load, efficiency):
    # 2 / (1 + sqrt(1 + C)); C = thrust / (1/2 rho A v^2), rho 1025 kg/m3, 0.3 m, 2 m/s
    thrust = load * 0.5 * 1025.0 * np.pi / 4 * 0.3**2 * 2.0**2
    found = ideal_efficiency(np.array([thrust]), np.array([2.0]), 0.3)
    assert found == pytest.approx(efficiency)


def test_a_larger_propeller_costs_less_power_at_speed():
    small, large = (
        hull.prior(
            of.model_copy(update={"motor": of.motor.model_copy(update={"propeller_diameter_m": d})})
        )
        for of, d in ((boat(), 0.25), (boat(), 0.45))
    )
    fast, usual = np.array([3.4]), np.array([0.28 * np.sqrt(9.80665 * 8.2)])
    assert large.mean_w(fast) < 0.95 * small.mean_w(fast)
    assert large.mean_w(usual) == pytest.approx(small.mean_w(usual), rel=0.01)


def test_diameter_is_the_boat_file_s_or_a_usual_one():
    assert diameter_m(boat()) == pytest.approx(0.328)  # 4 % of 8.2 m


def test_keel_and_rudder_bring_the_series_to_the_three_towed_hulls():
    """Their published figures (1981, x 1000) in the geometric mean, speed by speed."""
    hulls = {
        (0.0, 0.565, 4.77, 3.99, 3.15): (0.79, 1.96, 4.14, 9.07, 24.13, 55.44),
        (-2.3, 0.568, 4.78, 3.99, 3.17): (0.78, 1.82, 3.76, 7.16, 20.11, 49.49),
        (0.0, 0.600, 4.78, 4.24, 3.15): (0.73, 2.16, 5.06, 10.36, 23.15, 51.50),
    }
    froude = np.array([0.20, 0.25, 0.30, 0.35, 0.40, 0.45])
    logs = [
        np.log(residuary_frac(form_from_ratios(*ratios), froude)) - np.log(np.array(printed) / 1000)
        for ratios, printed in hulls.items()
    ]
    assert np.mean(logs, axis=0) == pytest.approx(np.zeros(6), abs=1e-6)
