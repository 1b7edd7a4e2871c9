"""The fills of a stack can be told apart, in every look and by colour-blind eyes."""

from itertools import combinations, pairwise

import numpy as np
import pytest

from analyzer.faces.charts.bokeh_charts import HATCHES, LOOKS

# Linear RGB as two-coloured eyes see it: Viénot, Brettel and Mollon, Color Research and
# Application 24 (1999) 243-252; the matrices to and from cone responses are theirs.
CONES = np.array(
    [[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]]
)
SEEN_BY = {
    "all three": np.eye(3),
    "no red cones": np.array([[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]]),
    "no green cones": np.array([[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]]),
}


def lightness(colour, eyes):
    """CIE 1976 L* of a colour as some eyes see it."""
    shares = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    linear = np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
    seen = np.linalg.solve(CONES, SEEN_BY[eyes] @ CONES @ linear).clip(0, 1)
    light = float(seen @ [0.2126, 0.7152, 0.0722])
    return 116 * light ** (1 / 3) - 16 if light > 0.008856 else 903.3 * light


@pytest.mark.parametrize("eyes", SEEN_BY)
@pytest.mark.parametrize("look", LOOKS)
def test_neighbours_of_a_stack_differ_in_lightness(look, eyes):
    fills = [lightness(colour, eyes) for colour in LOOKS[look].layers]
    assert min(abs(a - b) for a, b in pairwise(fills)) >= 5  # twice what is just seen


@pytest.mark.parametrize("look", LOOKS)
def test_no_two_fills_of_a_stack_are_alike(look):
    fills = LOOKS[look].layers
    assert all(a != b for a, b in combinations(fills, 2))
    assert len(set(HATCHES)) == len(HATCHES) == len(fills)
