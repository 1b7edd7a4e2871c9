"""What-ifs, gains and trips that were, against invented boats simulated with and without it all.

One what-if boat in the build; `KEELWATT_FULL=1` asks 60 of each kind, half an hour of processor
time each. `python -m tests.field.score_what_if`, `score_gain` and `score_trip_what_if` print every
row.
"""

import os

import pytest

from tests.field import score_gain, score_trip_what_if, score_what_if

FULL = bool(os.environ.get("KEELWATT_FULL"))
SCORES = {"what if": (score_what_if, 7000), "gain": (score_gain, 9000),
          "trip that was": (score_trip_what_if, 8000)}  # fmt: skip
BOATS = 60 if FULL else 1
ASKED = list(SCORES) if FULL else ["what if"]


@pytest.fixture(scope="module")
def rows():
    """The rows of each score."""
    return {
        name: [row for number in range(first, first + BOATS) for row in score.boat_rows(number)]
        for name, (score, first) in SCORES.items()
        if name in ASKED
    }


@pytest.mark.parametrize("name", ASKED)
def test_ranges_hold_and_signs_are_right(rows, name):
    """Of 80 % ranges three in four at least, and of the signs that are told 95 in 100; of the few
    rows of one boat, which share its pack, half, and every sign."""
    some = rows[name]
    told = [row for row in some if row.signed]
    assert len(some) >= 3
    assert sum(row.holds for row in some) >= (0.76 if FULL else 0.5) * len(some)
    assert sum(row.right for row in told) >= (0.95 if FULL else 1.0) * len(told)


@pytest.mark.skipif(not FULL, reason="a share of many boats: KEELWATT_FULL=1")
@pytest.mark.xfail(
    strict=True,
    reason="held 398 of 466 differences of 79 boats, 85.4 % (binomial sd 1.6 %), where 84 % is the "
    "most that an 80 % range should: without the propellers 284 of 341, 83.3 %; how a propeller is "
    "loaded the log does not say, so its gain is told wider than one law of propellers is",
)
def test_ranges_are_no_wider_than_they_say(rows):
    pooled = [row for some in rows.values() for row in some]
    assert sum(row.holds for row in pooled) <= 0.84 * len(pooled)
