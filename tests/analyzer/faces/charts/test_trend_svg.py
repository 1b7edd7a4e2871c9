"""The health page's small drawings; places worked out by hand."""

import pytest

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.faces.charts import trend_svg
from analyzer.hull.fouling import Fouling, TripLoss


def test_course_goes_from_left_to_right_and_up_with_the_value(invented):
    drawn = trend_svg.drawn(invented.course("rise, K", "K", (5, 6, 10)), zero=True)
    assert [tick.text for tick in drawn.up] == ["0", "5", "10", "15"]  # whiskers reach 12
    assert drawn.points[0].x < drawn.points[1].x < drawn.points[2].x
    assert drawn.points[0].x - trend_svg.LEFT == trend_svg.RIGHT - drawn.points[2].x
    height = trend_svg.BOTTOM - trend_svg.TOP
    assert drawn.points[2].mid == pytest.approx(trend_svg.BOTTOM - height * 10 / 15, abs=0.1)
    assert drawn.points[2].high < drawn.points[2].mid < drawn.points[2].low  # up is less
    assert (drawn.first, drawn.last) == ("3 Jun 2024", "2 Aug 2024")


def test_one_time_shows_no_course(invented):
    assert trend_svg.drawn(invented.course("x", "K", (5,))) is None
    assert trend_svg.drawn(None) is None
    unknown = invented.course("x", "K", ())
    assert trend_svg.drawn(unknown) is None


def test_fractions_and_ohms_are_shown_as_people_read_them(invented):
    share = trend_svg.drawn(invented.course("x", "frac", (0.9, 1.0)))
    assert [tick.text for tick in share.up][-1] == "120"
    milli = trend_svg.drawn(invented.course("x", "ohm", (1e-3, 2e-3)), zero=True)
    assert [tick.text for tick in milli.up] == ["0", "1", "2", "3"]


def test_a_cell_that_stands_out_is_marked_and_the_highest_fills_the_height():
    def of(mid):
        return Estimate(mid, mid, mid, "ohm")

    found = trend_svg.columns(
        [("cell 1", of(1e-3)), ("cell 2", of(2e-3)), ("cell 3", cannot_say("x", "ohm"))],
        ["cell 2"],
    )
    assert [column.stands_out for column in found] == [False, True]
    assert found[1].top == trend_svg.COLUMN_TOP
    assert found[0].top == pytest.approx((trend_svg.COLUMN_TOP + trend_svg.COLUMN_BOTTOM) / 2)
    assert trend_svg.columns([("cell 1", cannot_say("x", "ohm"))], []) == []


def test_speed_lost_is_a_course_of_trips():
    loss = Estimate(-0.04, -0.06, -0.02, "frac")
    none = cannot_say("", "frac")
    found = trend_svg.speed(Fouling((TripLoss(1.0, 60.0, loss),), none, none, ""))
    assert found.rows[0].value == loss
