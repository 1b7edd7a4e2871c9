"""Text answers: what a sailor must find in them, and where."""

import dataclasses

import pytest

from analyzer.environment.double_run import DoubleRun, Run
from analyzer.estimation.results import QuestionRow
from analyzer.faces.cli.text import answers as tell
from analyzer.faces.cli.text import checked, passage
from logger.units import KN


def test_range_answers_first(invented):
    first = tell.range_left(invented.RANGE).split("\n\n")[0].replace("\n", " ")
    assert first.startswith("At 4.5 kn through the water you can go between 11 and 15 nautical")
    assert "eight times in ten" in first
    assert "most likely 13 nmi" in first


def test_a_plan_shows_how_sure_each_hour_is_and_marks_the_best(invented):
    text = passage.plan(invented.LEAVING)
    rows = [line for line in text.splitlines() if "#" in line or "< 1 %" in line]
    assert len(rows) == 5
    assert [line.count("#") for line in rows] == [29, 18, 6, 0, 15]  # of 30 signs
    assert [line.endswith("< best") for line in rows] == [True, False, False, False, False]
    assert "#" not in passage.plan(invented.PLAN)


def test_range_says_what_ends_it_and_what_to_do(invented):
    text = tell.range_left(invented.RANGE)
    assert "What ends it: the reserve of 20 %" in text
    assert "Slow to 3.5 kn: 21 nmi instead of 13." in text
    assert "going back at 3.0 kn through the water, you are 97 % sure" in " ".join(text.split())
    assert "Cell 5 sags more than the others under load (since" in " ".join(text.split())
    assert "Caution: A range is no promise" in text


def test_range_that_cannot_be_said_says_why_and_what_would_help(invented):
    text = tell.range_left(invented.UNKNOWN_RANGE)
    assert text.startswith("How far cannot be said: no pack voltage and no current arrive.")
    assert "a shunt" in text
    assert "None" not in text
    assert "nan" not in text


def test_range_warns_to_turn_when_nothing_is_left_to_go_out(invented):
    late = dataclasses.replace(
        invented.HOME, can_return_frac=0.7, turn_in=invented.estimate(0.0, 0.0, 0.0, "m")
    )
    assert "Turn now: you asked for 90 %." in tell.home(late).replace("\n", " ")


def test_range_tells_the_turning_point_that_is_sure_not_the_likely_one(invented):
    text = tell.home(invented.HOME).replace("\n", " ")  # 2.4 nmi sure, 3.1 nmi in the middle
    assert "To keep 90 % sureness, turn within 2.4 nmi." in text
    by_track = dataclasses.replace(invented.HOME, way="track")
    assert "6.2 nmi back along your track" in tell.home(by_track).replace("\n", " ")
    assert "with the stream going on as it may" in text


def test_range_tells_the_speed_that_the_way_home_presumes(invented):
    slow = dataclasses.replace(invented.HOME, speed_water_mps=2.5 * KN)
    text = tell.home(slow).replace("\n", " ")
    assert "Turning now and going back at 2.5 kn through the water, you are 97 % sure" in text


def test_range_says_why_the_way_home_cannot_be_judged(invented):
    text = tell.range_left(
        dataclasses.replace(invented.UNKNOWN_RANGE, home_reason="the boat file names no [home]")
    )
    assert "The way home cannot be judged: the boat file names no [home]." in text


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("range_left", "RANGE"),
        ("range_left", "UNKNOWN_RANGE"),
        ("review", "REVIEW"),
        ("cells", "CELLS"),
        ("cables", "CABLES"),
        ("check", "CHECK"),
    ],
)
def test_every_text_fits_eighty_columns_and_hides_no_none(invented, name, answer):
    text = getattr(checked if name == "check" else tell, name)(getattr(invented, answer))
    assert max(len(line) for line in text.splitlines()) < 80
    assert "None" not in text


def test_trips_says_so_when_there_is_none(invented):
    assert tell.trips(()) == "No trip yet: a trip is at least five minutes moving."
    table = tell.trips((invented.TRIP,)).splitlines()
    assert table[1].split()[0] == "2"
    assert "11 nmi" in table[1]
    assert max(map(len, table)) < 80


def test_review_accounts_for_volts_and_watt_hours(invented):
    text = tell.review(invented.REVIEW)
    assert "52.90 V at rest, 50.10 V loaded, 2.80 V lost" in text
    assert "propeller under sail" in text
    assert "-60 Wh" in text
    assert text.index("Where the watt-hours went") < text.index("Where the volts went")


def test_cells_finding_has_its_cure_and_caution(invented):
    text = tell.cells(invented.CELLS)
    assert text.startswith("* Cell 5 has 0.9 mΩ more than the others. 93 % sure.")
    assert "Cure: Clean and tighten the links at cell 5" in text
    assert "Caution: Isolate the pack first" in text


def test_cells_without_finding_say_so(invented):
    quiet = dataclasses.replace(invented.CELLS, findings=())
    assert tell.cells(quiet).startswith("No cell is falling behind the others.")


def test_a_double_run_says_what_it_found():
    """Two runs at 2 and 3 m/s: 2.5 m/s through the water, that is 4.86 kn (1852 m in an hour)."""
    runs = tuple(Run(0, 180, heading, fast, 20.0, 2.4) for heading, fast in ((10, 2), (190, 3)))
    text = passage.double_run(DoubleRun(runs, (2.5, 0.05), (1.04, 0.01), None, ""))
    assert text.startswith("2 runs to and fro: 4.9 kn through the water")
    assert "true speed is 1.040 of what it shows" in text
    assert "on 190°: 5.8 kn over ground" in text


def test_check_keeps_questions_and_the_wiring_apart(invented):
    rows = (
        QuestionRow("How far?", False, "wants pack current"),
        QuestionRow("How warm?", True, "from a probe"),
        QuestionRow("Do the cells add up?", True, "wrong: they make 12 V of 48"),
    )
    text = checked.check(dataclasses.replace(invented.CHECK, questions=rows))
    assert "Cannot be answered yet\n- How far? Wants pack current." in text
    assert "Can be answered\n- How warm? From a probe." in text
    assert "The wiring\n- Do the cells add up? Wrong: They make 12 V of 48." in text


def test_trips_of_ten_hours_and_more_keep_their_columns(invented):
    long = dataclasses.replace(
        invented.TRIP, number=1000, end_utc_s=invented.TRIP.start_utc_s + 39540.0
    )  # 10 h 59 min
    head, *rows = tell.trips((invented.TRIP, long)).splitlines()[:1] + [
        line for line in tell.trips((invented.TRIP, long)).splitlines()[1:] if " nmi" in line
    ]
    assert {row.index("11 nmi") for row in rows} == {head.index("Distance")}
