"""Places of a route that are nowhere on Earth."""

import pytest

from analyzer.errors import BadRoute
from analyzer.range.route import through


@pytest.mark.parametrize("place", [(95.0, 10.0), (float("nan"), 10.0), (54.0, 181.0)])
def test_a_place_that_is_nowhere_is_refused_in_one_sentence(place):
    with pytest.raises(BadRoute, match="no place") as refused:
        through([(54.0, 10.0, ""), (*place, "")], "home")
    assert "\n" not in str(refused.value)


def test_the_ends_of_the_earth_are_places():
    assert through([(90.0, 0.0, ""), (-90.0, 180.0, "")]).distance_m == pytest.approx(
        20.0e6, rel=2e-3
    )
