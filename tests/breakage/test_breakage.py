"""A small share of the mass run in the build: `python -m tests.breakage --count 5000` is the rest.

Each case is a test of its own, so that the build's workers share them. What does not hold today
stands in KNOWN with its reason; who mends it takes it out.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.breakage import cases, drawing
from tests.breakage.breaks import Break

SEEDS = range(1, 17)
KNOWN: dict[int, str] = {}


def expected(seed):
    """A case's number, marked where something is missed today."""
    known = pytest.mark.xfail(strict=True, reason=KNOWN.get(seed, ""))
    return pytest.param(seed, marks=[known] if seed in KNOWN else [])


@pytest.mark.parametrize("seed", [expected(seed) for seed in SEEDS])
def test_every_invariant_holds(seed):
    result = cases.examine(drawing.draw(seed))
    assert [f"{miss.invariant}: {miss.text}" for miss in result.misses] == []


KINDS = st.sampled_from(["dead", "frozen", "scaled", "reversed", "sparse"])
CHANNELS = st.sampled_from(["pack_current_a", "pack_voltage_v", "speed_ground_mps", "latitude_deg"])
BREAKS = st.builds(
    Break, KINDS, CHANNELS, st.integers(0, 40).map(lambda n: 60.0 * n), st.sampled_from([60.0, 0.1])
)


@settings(max_examples=5)
@given(st.lists(BREAKS, min_size=1, max_size=2, unique_by=lambda b: b.what))
def test_no_traceback_whatever_breaks_on_a_plain_boat(breaks):
    said, _ = cases.run(cases.Case(3, "plain", 2460, tuple(breaks)))
    for question, answer in said.answers.items():
        assert not answer.broke, f"{question}: {answer.broke}"
        assert answer.status in (0, 2), answer.error
