"""The current triangle against printed chart work."""

import pytest

from analyzer.triangle import made_good, to_steer
from logger.units import KN

# Navigation courses' printed examples (drawn on charts, up to 2.5 degrees off): track, speed
# through water, set, drift, heading and speed over ground; the headings to 0.01 are worked by
# hand from the law of sines.
WORKED = [
    (75, 10, 30, 2.5, 85.18, 11.61, 85, 11.6),
    (90, 5, 210, 2.0, 69.73, 3.69, 70, 3.7),
    (235, 6.2, 315, 3.5, 201.22, 5.76, 200, 5.8),
    (150, 5.3, 50, 3.5, 190.57, 3.42, 190, 3.4),
    (110, 10, 170, 2, 100.03, 10.85, None, None),
]


@pytest.mark.parametrize(
    ("track", "water", "toward", "drift", "heading", "ground", "drawn", "drawn_kn"), WORKED
)
def test_to_steer(track, water, toward, drift, heading, ground, drawn, drawn_kn):
    got = to_steer(track, water * KN, toward, drift * KN)
    assert round(got.angle_deg, 2) == heading
    assert round(got.speed_ground_mps / KN, 2) == ground
    if drawn is not None:
        assert got.angle_deg == pytest.approx(drawn, abs=2.5)
        assert got.speed_ground_mps / KN == pytest.approx(drawn_kn, abs=0.06)


def test_made_good():
    # worked by hand: steer 110 at 10 kn, set 350 drift 2 -> 099.11, 9.17 kn
    got = made_good(110, 10 * KN, 350, 2 * KN)
    assert round(got.angle_deg, 2) == 99.11
    assert round(got.speed_ground_mps / KN, 2) == 9.17


def test_to_steer_then_made_good_keeps_the_track():
    there = to_steer(200, 2.5, 90, 0.8)
    back = made_good(there.angle_deg, 2.5, 90, 0.8)
    assert back.angle_deg == pytest.approx(200)
    assert back.speed_ground_mps == pytest.approx(there.speed_ground_mps)


def test_a_stream_faster_than_the_boat_cannot_be_held():
    assert to_steer(0, 1.0, 90, 1.5) is None
