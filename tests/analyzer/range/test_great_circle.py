"""Distances and courses on a sphere, against the geodesic's of geographiclib."""

import numpy as np
import pytest

from analyzer.flags.turn_back import SPHERE_COS, SPHERE_FRAC
from analyzer.range.home import geodesic, great_circle


@pytest.mark.parametrize("seed", range(3))
def test_sphere_and_ellipsoid_differ_by_less_than_is_allowed_for(seed):
    rng = np.random.default_rng(seed)
    for _ in range(300):
        lat, lon = rng.uniform(-80, 80), rng.uniform(-180, 180)
        reach_deg = 10 ** rng.uniform(-3, 0.5)  # a hundred metres to some hundred kilometres
        there = lat + reach_deg * rng.uniform(-1, 1), lon + reach_deg * rng.uniform(-1, 1)
        far_m, course_deg = geodesic(lat, lon, *there)
        on_sphere_m, on_sphere_deg = great_circle(lat, lon, *there)
        assert on_sphere_m == pytest.approx(far_m, rel=SPHERE_FRAC)
        off = np.radians(rng.uniform(0, 360, 8))
        cosines = np.cos(off - np.radians(course_deg)), np.cos(off - np.radians(on_sphere_deg))
        assert np.abs(cosines[0] - cosines[1]).max() < SPHERE_COS


def test_a_quarter_of_the_equator():
    # a quarter of 2 pi 6371.009 km, due east
    assert great_circle(0.0, 0.0, 0.0, 90.0) == pytest.approx((10_007_557.2, 90.0), abs=0.5)
