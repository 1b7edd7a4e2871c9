"""Geometry of the under-way drawings."""

import dataclasses

import pytest

from analyzer.faces.charts import range_svg, scale


@pytest.mark.parametrize(
    ("span", "about", "step"), [(30, 4, 10), (15.9, 6, 5), (4, 6, 1), (0.9, 4, 0.5), (100, 5, 20)]
)
def test_nice_step_is_one_two_or_five(span, about, step):
    assert scale.nice_step(span, about) == pytest.approx(step)


def test_ticks_stay_inside():
    assert scale.ticks(6.2, 5, 1.7) == [2, 3, 4, 5, 6]


def test_curve_marks_the_answer_itself_at_the_present_speed(invented):
    curve = range_svg.curve(invented.RANGE)
    chosen = curve.points[curve.chosen]
    assert chosen["speed"] == "4.5 kn"
    assert chosen["band"] == "11 to 15 nmi"  # the answer's, not the 4.5 kn point of the curve
    assert [p["speed"] for p in curve.points].count("4.5 kn") == 1
    assert (curve.now.x, curve.now.y) == pytest.approx((chosen["x"], chosen["y"]), abs=0.06)


def test_curve_goes_higher_up_the_page_for_further(invented):
    curve = range_svg.curve(invented.RANGE)
    by_reach = sorted(curve.points, key=lambda p: p["reach_m"])
    heights = [p["y"] for p in by_reach]
    assert heights == sorted(heights, reverse=True)


def test_curve_is_not_flattened_by_a_crawl_that_goes_very_far(invented):
    far = dataclasses.replace(invented.CURVE[0], distance=invented.estimate(800e3, 400e3, 4e6, "m"))
    answer = dataclasses.replace(
        invented.RANGE,
        curve=(far, *invented.CURVE[1:]),
        best_speed_mps=far.speed_water_mps,
    )
    curve = range_svg.curve(answer)
    assert curve.best.y == range_svg.TOP  # marked at the frame, with an arrow
    assert curve.best.text.endswith("↑")
    up_to_nmi = float(curve.up[-1].text)
    assert 25 <= up_to_nmi <= 5 * 13  # the answer is 13 nmi


def test_curve_wants_two_speeds(invented):
    assert range_svg.curve(invented.UNKNOWN_RANGE) is None


def test_rule_lays_the_reach_out_in_proportion(invented):
    rule = range_svg.rule(invented.RANGE)
    span = rule.high - range_svg.RULE_LEFT
    assert (rule.low - range_svg.RULE_LEFT) / span == pytest.approx(11 / 15, abs=0.002)
    assert (rule.mid - range_svg.RULE_LEFT) / span == pytest.approx(13 / 15, abs=0.002)
    assert (rule.turn - range_svg.RULE_LEFT) / span == pytest.approx(
        2.4 / 15, abs=0.002
    )  # the sure one


def test_rule_needs_a_range(invented):
    assert range_svg.rule(invented.UNKNOWN_RANGE) is None
