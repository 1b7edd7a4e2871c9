"""Long routes are thinned to what their shape needs."""

from itertools import pairwise

import numpy as np
import pytest

from analyzer.range import route


def test_a_route_of_a_thousand_places_is_thinned_and_keeps_its_length():
    # A zigzag that comes to 20 legs of a mile, each told by fifty places.
    corners = [(60.0 + k / 60.0, 20.0 + 0.02 * (k % 2), f"corner {k}") for k in range(21)]
    points = [
        (a[0] + (b[0] - a[0]) * part / 50, a[1] + (b[1] - a[1]) * part / 50, "")
        for a, b in pairwise(corners)
        for part in range(50)
    ] + [corners[-1]]
    assert len(points) == 1001
    whole, thin = route.through(corners), route.through(points)
    assert thin.places == 1001
    assert len(thin.legs) <= route.MOST_PLACES
    assert thin.distance_m == pytest.approx(whole.distance_m, rel=0.005)


def test_a_track_that_is_a_scribble_ends_thinned_too():
    rng = np.random.default_rng(1)
    points = [(float(a), float(b), "") for a, b in rng.uniform(50, 51, (20_000, 2))]
    assert len(route.through(points).legs) <= route.MOST_PLACES
