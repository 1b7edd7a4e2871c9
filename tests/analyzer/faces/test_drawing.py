"""Answers as frames and pictures: what stands in them is what the answer says."""

import matplotlib as mpl
import pytest

from analyzer import answers
from analyzer.estimation.estimate import Estimate
from analyzer.faces.python.drawing import draw
from tests.support import invented_answers

mpl.use("Agg")


def test_an_estimate_is_a_row():
    frame = Estimate(1.0, 0.5, 2.0, "V", reason="measured").to_frame()
    assert frame.to_dict("records") == [
        {"mid": 1.0, "low": 0.5, "high": 2.0, "unit": "V", "coverage": 0.8, "reason": "measured"}
    ]


def test_answers_become_frames_of_their_rows():
    far = invented_answers.RANGE
    frame = far.to_frame()
    assert frame["distance_low"].tolist() == [point.distance.low for point in far.curve]
    assert frame["speed_water_mps"].tolist() == [point.speed_water_mps for point in far.curve]


@pytest.fixture(scope="module")
def log(demo_log):
    """The demo's, open."""
    with answers.open_log(demo_log) as found:
        yield found


def test_the_range_is_drawn_in_knots_and_miles(log):
    left = log.range_left()
    (line,) = draw(left).get_lines()
    # by definition of the knot and the nautical mile
    assert line.get_xdata() == pytest.approx([p.speed_water_mps * 3600 / 1852 for p in left.curve])
    assert line.get_ydata() == pytest.approx([p.distance.mid / 1852 for p in left.curve])


@pytest.mark.parametrize("question", ["hull", "cells", "review"])
def test_the_others_have_a_picture_too(log, question, tmp_path):
    axes = draw(getattr(log, question)())
    assert axes.has_data()
    axes.figure.savefig(tmp_path / "a.png")
    assert (tmp_path / "a.png").stat().st_size > 5000
    mpl.pyplot.close("all")


def test_a_plot_is_drawn_against_time(log):
    plot = log.plot(1, ("pack_voltage_v", "pack_current_a"))
    frame = plot.to_frame()
    assert list(frame.columns) == ["pack_voltage_v", "pack_current_a"]
    assert frame.index[0].isoformat().startswith("2026-05-16T09:1")
    assert [line.get_label() for line in draw(plot).get_lines()] == list(frame.columns)
    mpl.pyplot.close("all")


def test_what_has_no_picture_is_named():
    with pytest.raises(TypeError, match=r"there are pictures of RangeAnswer,.* got Estimate"):
        draw(Estimate(1.0, 0.5, 2.0, "V"))
