from pytest import approx, mark

from logger import units


@mark.parametrize(
    ("value", "unit", "inside"),
    [
        # NIST SP 811 appendix B.8 and reference-values.md section 3.1, from memory where exact
        (1.0, "kn", 0.5144444),
        (1.0, "nmi", 1852.0),
        (1.0, "lb", 0.45359237),
        (1.0, "hp", 745.6999),
        (212.0, "degF", 100.0),
        (-40.0, "degF", -40.0),
        (273.15, "K", 0.0),
        (90.0, "km/h", 25.0),
        (60.0, "rpm", 1.0),
        (100.0, "%", 1.0),
    ],
)
def test_to_inside_agrees_with_published_factors(value, unit, inside):
    assert units.to_inside(value, unit) == approx(inside, rel=1e-6, abs=1e-9)


def test_circular_mil_is_the_area_of_a_thousandth_of_an_inch():
    # reference-values.md 1.1: 5.0671e-4 mm²
    assert approx(5.0671e-4, rel=1e-4) == units.CMIL_MM2


def test_two_turns_of_a_radian_and_back():
    assert units.to_inside(6.283185307179586, "rad") == approx(360.0)
