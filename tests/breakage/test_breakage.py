"""A small share of the mass run in the build: `python -m tests.breakage --count 5000` is the rest.

What does not hold today stands in KNOWN with its count, and may get no worse. Who mends one takes
it out: a count that is too high for an invariant that holds fails the build.
"""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.breakage import cases, contradictions, drawing, physics
from tests.breakage.breaks import Break

FIRST, COUNT = 1, 16
INVARIANTS = (
    "far outside",
    "wrong",
    *(check.__name__ for check in contradictions.CHECKS),
    *(law.__name__ for law in physics.PHYSICS),
    "leap",
    "manners",
    "harness",
)
# Cases out of COUNT in which an invariant does not hold today.
KNOWN: dict[str, int] = {}


@pytest.fixture(scope="module")
def results():
    """The cases of the build."""
    return {seed: cases.examine(drawing.draw(seed)) for seed in range(FIRST, FIRST + COUNT)}


@pytest.fixture(scope="module")
def missed(results):
    """In how many cases each invariant does not hold."""
    return Counter(name for r in results.values() for name in {m.invariant for m in r.misses})


def listed(results, invariant):
    """Its misses, as a failing test shows them."""
    return [f"--case {seed}: {miss.text}" for seed, result in results.items()
            for miss in result.misses if miss.invariant == invariant]  # fmt: skip


def expected(name):
    """An invariant, marked where it does not hold today."""
    if name not in KNOWN:
        return name
    reason = f"broken in {KNOWN[name]} of {COUNT} cases, bar none"
    return pytest.param(name, marks=pytest.mark.xfail(strict=True, reason=reason))


@pytest.mark.parametrize("name", [expected(name) for name in INVARIANTS])
def test_invariant_holds(results, name):
    assert not listed(results, name)


def test_no_invariant_is_worse_than_known(results, missed):
    worse = {name: listed(results, name) for name, most in KNOWN.items() if missed[name] > most}
    assert not worse


def test_no_miss_without_an_invariant(missed):
    assert set(missed) <= set(INVARIANTS)


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
