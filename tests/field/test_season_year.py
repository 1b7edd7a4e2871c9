"""Three weeks of the year's invented boat: sums that a season tells, beside what truly was.

`python -m tests.field.score_season LOG` prints the year's; its figures are in tests/README.md.
"""

import pytest

from tests.boats import year
from tests.field import score_season

WEEKS = 2
MOST_SDS = 3.0  # of a range's own standard deviations, for a handful of sums of one boat


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """The season of the first weeks, and what was true."""
    return score_season.ask(tmp_path_factory.mktemp("year") / "log.sqlite", WEEKS)


def test_sums_are_what_truly_was(asked):
    answer, weeks, _ = asked
    summed = [row for row in score_season.rows(answer, weeks) if row.what.endswith((" m", " Wh"))]
    wanted = [row for row in summed if not row.what.startswith(("growth", "capacity"))]
    assert len(wanted) == 4
    assert {row.what: row.sds for row in wanted if row.sds > MOST_SDS} == {}


def test_hours_are_those_of_the_plan(asked):
    answer, _, _ = asked
    # out and home under motor, a sail between, as `year._plan` has it; a minute at each change
    assert answer.motor_s == pytest.approx(WEEKS * (600 + 780 + 660 + 900), abs=WEEKS * 240)
    assert answer.sail_s == pytest.approx(WEEKS * 2100, abs=WEEKS * 240)


def test_no_cleaning_is_said_of_a_boat_that_saw_none(asked):
    assert asked[0].fouling.cleaned_utc_s is None


def test_the_truth_grows_ages_and_is_cleaned_once():
    weeks = year.weeks()
    rough = [week.rough_frac for week in weeks]
    assert rough.index(min(rough[1:]), 1) == year.CLEANED_WEEK
    assert weeks[year.CLEANED_WEEK].power_over_clean == 1.0
    assert weeks[-1].capacity_ah < weeks[0].capacity_ah
    assert weeks[-1].lug_ohm > 0
