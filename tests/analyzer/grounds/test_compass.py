"""A compass against the course over ground, on made-up courses; angles by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.answers.grounded import believed
from analyzer.estimation.ground import Ground
from analyzer.grounds.compass import compass
from analyzer.series.series import Floats, Series

N = 900  # seconds, one reading each


def _verdict(heading_deg: Floats, course_deg: Floats, speed_mps: float = 2.0) -> str:
    rng = np.random.default_rng(1)
    yaw_deg, wander_deg = rng.normal(0, 4, N), rng.normal(0, 2, N)
    speed = np.full(N, speed_mps)
    return compass(
        (heading_deg + yaw_deg) % 360, (course_deg + wander_deg) % 360, speed, 1.0
    ).verdict


def _step(at_s: int, size_deg: float) -> Floats:
    return np.where(np.arange(N) < at_s, 0.0, size_deg)


@pytest.mark.parametrize("size_deg", [-30.0, 25.0, 170.0])
def test_a_heading_that_jumps_on_a_straight_course_is_wrong(size_deg: float):
    """Iron beside the compass, across north too; told by its size."""
    course = np.full(N, 350.0)
    heading = course + 5 + _step(400, size_deg)
    assert _verdict(heading, course) == "wrong"
    found = compass(heading % 360, course, np.full(N, 2.0), 1.0).finding
    assert found is not None
    assert found.size.mid == pytest.approx(abs(size_deg), abs=0.5)


def test_a_boat_that_turns_has_a_sound_compass():
    """Heading and course turn together by 60 degrees."""
    course = 20.0 + _step(400, 60.0)
    assert _verdict(course - 8.0, course) == "right"


def test_a_course_that_comes_late_accuses_no_compass():
    """A receiver that tells the turn 40 s after it."""
    heading = 20.0 + _step(400, 60.0)
    assert _verdict(heading, 20.0 + _step(440, 60.0)) == "right"


def test_a_stream_that_slowly_turns_the_boat_is_no_jump():
    """30 degrees more to hold against it within five minutes, on the same course."""
    heading = 90.0 + np.clip((np.arange(N) - 300) / 300, 0, 1) * 30.0
    assert _verdict(heading, np.full(N, 90.0)) == "right"


def test_a_boat_that_lies_still_tells_nothing_of_its_compass():
    """0.2 m/s: a receiver's course is noise there."""
    assert _verdict(_step(400, 40.0), np.full(N, 10.0), speed_mps=0.2) == "cannot say"


def test_a_contradicted_heading_is_not_looked_at():
    """The stream is then found without a compass; the velocity over ground stays."""
    values = {name: np.ones(5) for name in ("heading_magnetic_deg", "speed_ground_mps")}
    rows = (Ground("heading", "contradicted by", "the course over ground"),)
    kept = believed(Series(0, 1.0, 5, values), rows)
    assert not kept.has("heading_magnetic_deg")
    assert kept.has("speed_ground_mps")
    assert believed(Series(0, 1.0, 5, values), (replace(rows[0], standing="measured now"),)).has(
        "heading_magnetic_deg"
    )
