"""Streams of trips are kept with their place, found again near it, and make a plan's tide."""

import numpy as np
import pytest

from analyzer.answers import open_log
from analyzer.answers.ahead.asked import PlanWish
from analyzer.answers.ahead.passage import plan_passage
from analyzer.environment.stream import given
from analyzer.learned import stream_history
from analyzer.learned.keys import STREAMS
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.store import Store
from tests.analyzer.environment.test_tide_fit import trips
from tests.boats.voyages import voyage
from tests.support.changed_boats import write_until
from tests.support.gpx import GPX
from tests.support.hull_boat import boat

START_UTC_US = 1_780_000_000_000_000
PLACE = (50.02, 0.0)


@pytest.fixture
def log(tmp_path):
    with OpenLog(Store.open(tmp_path / "log.sqlite", write=True), boat()) as context:
        yield context


def keep(log: OpenLog, count: int, days: float, place=PLACE) -> None:
    """A season of trips near a place in the tide of a sound."""
    seen = trips(1, count, days)
    for trip in seen.trips:
        one = seen.of(seen.trip == trip)
        rows = np.column_stack([one.t_s, np.tile(place, (len(one.t_s), 1)), one.mps, one.sd_mps])
        us = int(one.t_s[0] * 1e6), int(one.t_s[-1] * 1e6)
        log.store.put_learned(STREAMS, {"rows": rows.tolist()}, *us)


def test_a_trip_s_stream_is_kept_where_the_boat_was():
    n = 60
    track = {"latitude_deg": np.linspace(50.0, 50.1, n), "longitude_deg": np.full(n, 179.99)}
    series = Series(START_UTC_US, 1.0, n, track)
    stream = given(1.0, 90.0, sd_mps=0.1)
    kept = stream_history.along(series, stream)["rows"]
    assert len(kept) == len(stream.t_s)
    assert kept[0][3:] == pytest.approx([1.0, 0.0, 0.1], abs=1e-4)
    assert stream_history.along(Series(START_UTC_US, 1.0, n, {}), stream) == {"rows": []}


def test_near_is_within_three_miles_and_dated(log):
    keep(log, 3, 30.0)
    # a mile is a minute of latitude, by definition: 2.9 of them north, and 3.1
    near, far = ((PLACE[0] + miles / 60, PLACE[1]) for miles in (2.9, 3.1))
    assert len(stream_history.near(log, [near]).trips) == 3
    assert len(stream_history.near(log, [far]).trips) == 0
    assert len(stream_history.near(log, [far, near]).t_s) == 48
    # at 50 degrees north a mile east is 1 / cos 50 = 1.556 minutes of longitude: textbook
    east, too_far = ((PLACE[0], miles * 1.556 / 60) for miles in (2.9, 3.1))
    assert len(stream_history.near(log, [east]).trips) == 3
    assert len(stream_history.near(log, [too_far]).trips) == 0


def test_near_reaches_across_the_date_line(log):
    keep(log, 2, 30.0, (50.0, 179.99))
    assert len(stream_history.near(log, [(50.0, -179.99)]).trips) == 2


def test_a_log_without_trips_has_seen_no_stream(log):
    seen = stream_history.near(log, [PLACE])
    assert len(seen.t_s) == len(seen.trip) == len(seen.trips) == 0


def test_a_plan_of_a_day_ahead_takes_the_tide_of_the_boat_s_own_trips(log, tmp_path):
    route = tmp_path / "out.gpx"
    route.write_text(GPX.replace("50.5", "50.05"))
    departure_s = trips(1, 30, 120.0).t_s[-1] + 3 * 86400.0
    wish = PlanWish(route, departure_s, (2.4,), charge_frac=0.9)
    before = plan_passage(log, wish).stream_from
    keep(log, 30, 120.0)
    told = plan_passage(log, wish).stream_from
    assert not before.startswith("the tide that")
    assert told.startswith("the tide that 30 of the boat's own trips near here have shown (M2, K1")


def test_a_look_through_keeps_the_stream_that_truly_ran(tmp_path):
    """The simulator's own stream along the trip of an invented boat, within what is told of it."""
    day = voyage(7012, faults="none")
    path = tmp_path / "voyage.sqlite"
    write_until(path, day, day.n - 1)
    with open_log(path, write=True) as there:
        there.refresh()
        with there.opened() as log:
            kept = [row for one in log.store.learned(STREAMS) for row in one.value["rows"]]
    rows = np.array(kept)
    assert len(rows) >= 6
    at = (rows[:, 0] - day.t0_utc_s).astype(int).clip(0, day.n - 1)
    true = np.stack([day.true[f"stream_{way}_mps"][at] for way in ("east", "north")], axis=1)
    apart = np.abs(rows[:, 3:5] - true) / rows[:, 5:]
    assert np.median(apart) < 1.5
    assert np.all(np.abs(rows[:, 1] - day.place.latitude_deg) < 1.0)
