"""Holtrop and Mennen's method against the example printed in their paper of 1982."""

import numpy as np
import pytest

from analyzer.hull import holtrop
from analyzer.series.physics import Water
from logger.units import KN

VISCOSITY = 1.18831e-6  # m²/s, sea water at 15 °C as the tank conference had it in 1982


@pytest.fixture
def ship() -> holtrop.Ship:
    prismatic = 37500 / (205 * 32 * 10 * 0.980)  # printed as 0.5833
    return holtrop.Ship(
        205,
        32,
        10,
        10,
        37500,
        prismatic,
        0.980,
        0.750,
        -0.75,
        20,
        4.0,
        16,
        50,
        1.5,
        10,
        Water(1025.0, VISCOSITY),
    )


@pytest.mark.parametrize(
    ("of", "printed", "digits"),
    [
        (holtrop.run_length_m, 81.385, 3),
        (holtrop.c12, 0.5102, 4),
        (holtrop.form_factor, 1.156, 3),
        (holtrop.wetted_area_m2, 7381.45, 2),
        (holtrop.entrance_deg, 12.08, 2),
        (holtrop.c7, 0.1561, 4),
        (holtrop.c1, 1.398, 3),
        (holtrop.c3, 0.02119, 5),
        (holtrop.c2, 0.7595, 4),
        (holtrop.c5, 0.9592, 4),
        (holtrop.correlation, 0.000352, 6),
    ],
)
def test_coefficients_equal_the_printed_ones(ship, of, printed, digits):
    assert round(of(ship), digits) == printed


def test_forces_equal_the_printed_ones(ship):
    speed = np.array([25 * KN])
    area = holtrop.wetted_area_m2(ship)
    friction = holtrop.friction_n(ship, speed, area)[0] / 1000
    appendages = 1.5 * holtrop.friction_n(ship, speed, 50.0)[0] / 1000
    # printed 869.63 and 8.83 kN; the last digit depends on the paper's unprinted viscosity
    assert friction == pytest.approx(869.63, abs=0.015)
    assert appendages == pytest.approx(8.83, abs=0.01)
    assert round(holtrop.bulb_n(ship, speed)[0] / 1000, 3) == 0.049
    assert holtrop.transom_n(ship, speed)[0] == 0


def test_froude_number_of_the_example():
    assert round(25 * KN / np.sqrt(9.81 * 205), 4) == 0.2868
