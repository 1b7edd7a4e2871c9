"""Plans, the hull and hindcasts asked of a log, and told in words."""

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from analyzer.answers import hull as answer_hull
from analyzer.answers import refresh
from analyzer.answers.ahead import asked, passage
from analyzer.answers.ahead.passage import PlanWish, parse_utc, plan_passage
from analyzer.answers.snapshot import here_now
from analyzer.environment.wind import Wind
from analyzer.errors import BadRoute
from analyzer.estimation.results import to_json
from analyzer.faces.charts import hindcast_svg
from analyzer.faces.cli.text import passage as text_passage
from analyzer.learned import kept_trips
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.boat import Boat
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store
from logger.units import KN
from tests.support.even_trip import motoring
from tests.support.gpx import GPX
from tests.support.hull_boat import boat

START_UTC_US = 1_780_000_000_000_000


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A log of one even outing of an hour and a half."""
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    series = motoring()
    names = tuple(series.values)
    group = Group("test", names, tuple(EXACT for _ in names))
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, START_UTC_US, "file", 0.1))
        t_us = (series.t_s * 1e6).astype(np.int64)
        writer.add(Block(group, t_us, np.column_stack(list(series.values.values()))))
        writer.close()
    afloat = Boat.model_validate(boat().model_dump() | {"hotel": {"power_w": 40.0}})
    with OpenLog(Store.open(path, write=True), afloat) as context:
        refresh.refresh(context)
        yield context


@pytest.fixture
def route(tmp_path) -> Path:
    path = tmp_path / "out.gpx"
    path.write_text(GPX.replace("50.5", "50.05"))
    return path


def test_plan_from_a_log(log, route):
    answer = plan_passage(log, PlanWish(route, wind=Wind(4.0, 200.0)))
    assert 0.0 <= answer.plan.arrives_frac <= 1.0
    assert len(answer.plan.legs) == 2
    text = text_passage.plan(answer)
    assert "North" in text
    assert "Caution" in text
    json.dumps(to_json(answer))


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's, with the newest pandas
def test_the_sky_of_the_log_is_not_that_of_three_days_later(log, route, monkeypatch):
    pytest.importorskip("pvlib")
    noon = Series(1_782_900_000_000_000, 60.0, 60, {"solar_power_w": np.full(60, 30.0)})
    monkeypatch.setattr(asked, "load", lambda *_: noon)
    panels = Boat.model_validate(log.boat.model_dump() | {"solar": {"peak_w": 300.0}})
    end_s = log.store.span()[1] / 1e6
    soon, later = (
        plan_passage(
            OpenLog(log.store, panels),
            PlanWish(route, departure_s=end_s + hours * 3600, speeds_mps=(2.4,)),
        ).sun_from
        for hours in (2, 72)
    )
    assert soon.endswith("% of a clear sky, as the yield of the log's last hours shows")
    assert later == (
        "45 % of a clear sky, the usual share, as the log's last yield is of 3 days before"
    )
    assert not soon.startswith("45 %")


def test_a_plan_in_a_tide_of_harmonic_constants_says_whose(log, route, tmp_path):
    tide = tmp_path / "stream_table"  # as the page keeps what was sent, without its suffix
    tide.write_text('place = "Sound"\nspeeds = "kn"\ntoward_deg = 0\n[constituents]\n'
                    "S2 = { amplitude = 2, phase_deg = 0 }\n")  # fmt: skip
    # S2's streams are two knots north at noon UTC and as much south at 18 h: by definition
    noon, evening = (parse_utc(f"2026-06-10T{hour}:00Z") - 1800 for hour in (12, 18))
    with_it, against = (
        plan_passage(log, PlanWish(route, when, (2.4,), stream_table=tide)).plan.legs[0]
        for when in (noon, evening)
    )
    fast, slow = (leg.speed_ground_mps.mid for leg in (with_it, against))
    assert fast - slow == pytest.approx(4 * KN, abs=0.6 * KN)
    told = plan_passage(log, PlanWish(route, noon, (2.4,), stream_table=tide)).stream_from
    assert told == "harmonic constants (1 constituent) of Sound"


def test_the_best_hour_is_the_hour_of_a_plan_that_leaves_then(log, route, tmp_path):
    tide = tmp_path / "tide.toml"
    tide.write_text('speeds = "kn"\ntoward_deg = 180\n[constituents]\n'
                    "M2 = { amplitude = 2.5, phase_deg = 0 }\n")  # fmt: skip
    start_s = log.store.span()[1] / 1e6
    wish = PlanWish(route, start_s, (2.4,), stream_table=tide, charge_frac=0.6)
    found = plan_passage(log, replace(wish, leave_within_s=13 * 3600.0))
    assert len(found.departures) == 14
    assert found.departures[0].departure_utc_s == start_s
    chosen = found.plan.departure_utc_s
    row = next(one for one in found.departures if one.departure_utc_s == chosen)
    assert row.arrives_frac == found.plan.arrives_frac
    surest = max(one.arrives_frac for one in found.departures)
    assert row.arrives_frac == pytest.approx(surest, abs=0.005)  # as sure, as it is shown
    alone = plan_passage(log, replace(wish, departure_s=chosen)).plan
    assert alone.arrives_frac == pytest.approx(found.plan.arrives_frac, abs=0.005)
    assert min(one.arrives_frac for one in found.departures) < found.plan.arrives_frac - 0.1
    with pytest.raises(BadRoute, match="earlier departure"):
        plan_passage(log, replace(wish, arrive_by_s=start_s - 1.0, leave_within_s=3600.0))


def test_plan_with_fewer_speeds_than_legs_says_so(log, route):
    with pytest.raises(BadRoute, match="2 legs"):
        plan_passage(log, PlanWish(route, speeds_mps=(2.0, 2.0, 2.0)))


def test_more_charge_at_departure_makes_a_plan_surer(log, route):
    low = plan_passage(log, PlanWish(route, speeds_mps=(2.4,), charge_frac=0.3)).plan
    high = plan_passage(log, PlanWish(route, speeds_mps=(2.4,), charge_frac=1.0)).plan
    assert high.arrives_frac > low.arrives_frac
    assert high.charge.mid - low.charge.mid == pytest.approx(0.7, abs=0.05)


def test_a_stream_that_could_not_be_told_is_not_said_to_go_on(log, route):
    leaves_s = log.store.span()[1] / 1e6 + 3600.0
    told = plan_passage(log, PlanWish(route, departure_s=leaves_s, speeds_mps=(2.4,))).stream_from
    assert told.startswith("not known, so the range is wider: on one heading")


def test_the_tide_of_a_stream_seen_days_ago_is_not_taken_for_known(log, route, monkeypatch):
    end_s = log.store.span()[1] / 1e6
    here = here_now(log, log.store.span()[1] + 1)
    seen = replace(here, stream=replace(here.stream, known=True))
    monkeypatch.setattr(passage, "here_now", lambda *_: seen)
    soon, later = (
        plan_passage(log, PlanWish(route, departure_s=end_s + h * 3600, speeds_mps=(2.4,)))
        for h in (1, 48)
    )
    assert "going on as a tide" in soon.stream_from
    assert "2 days before, at an unknown time of its tide" in later.stream_from
    assert "2 days before departure" in later.cautions[0]
    assert len(soon.cautions) < len(later.cautions)


def test_an_unknown_wind_makes_a_plan_less_sure_the_more_windage_it_has(log, route):
    leaves_s = log.store.span()[1] / 1e6 + 3600.0  # not now: that is another each time it is asked

    def width(wind: Wind | None, area_m2: float) -> float:
        hull = log.boat.hull.model_copy(update={"windage_area_m2": area_m2})
        tall = OpenLog(log.store, log.boat.model_copy(update={"hull": hull}))
        answer = plan_passage(
            tall, PlanWish(route, wind=wind, departure_s=leaves_s, speeds_mps=(2.4,))
        )
        assert answer.wind_from == ("calm, as given" if wind else asked.ANY_WIND)
        return answer.plan.energy.high / answer.plan.energy.low

    calm = Wind(0.0, 0.0, sd_mps=0.0)
    # in a calm only what earlier legs teach is less sure, as the wind may have moved the boat more
    in_calm = np.log(width(calm, 10.0) / width(calm, 1.0))
    in_any = np.log(width(None, 10.0) / width(None, 1.0))
    assert in_any > max(np.log(1.1), 2 * in_calm)


def test_a_measured_wind_counts_for_a_departure_soon_after(log, route, monkeypatch):
    end_s = log.store.span()[1] / 1e6
    seen = replace(here_now(log, log.store.span()[1] + 1), wind=Wind(5.0, 200.0, 0.5, "measured"))
    monkeypatch.setattr(passage, "here_now", lambda *_: seen)
    soon, later = (
        plan_passage(log, PlanWish(route, departure_s=end_s + h * 3600, speeds_mps=(2.4,)))
        for h in (1, 5)
    )
    assert soon.wind_from == "10 kn from 200°, measured"
    assert "not known" in later.wind_from


def test_hull_from_a_log(log):
    answer = answer_hull.hull_state(log)
    assert answer.minutes > 60
    text = text_passage.hull(answer)
    assert "kn" in text
    assert "not measured yet" in text
    json.dumps(to_json(answer))


def test_double_run_without_runs_tells_how(log):
    found = answer_hull.double_run(log)
    text = text_passage.double_run(found)
    assert found.missing
    assert "opposite heading" in text
    assert "Keep a lookout" in text


def test_hindcast_from_a_log(log):
    record = kept_trips.find_trip(log, None)
    answer = answer_hull.hindcast_trip(log, record, every_s=1200.0)
    assert answer.hindcast.score.compared >= 1
    text = text_passage.hindcast(answer)
    assert "8 in 10 is right" in " ".join(text.split())
    json.dumps(to_json(answer))
    picture = hindcast_svg.svg(answer)
    drawn = ElementTree.fromstring(picture)
    dots = [e for e in drawn.iter() if e.tag.endswith("circle")]
    assert len(dots) == answer.hindcast.score.compared + 1  # one is the legend's


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib's, with the newest pandas
def test_a_yield_by_night_is_not_said_to_show_the_sky(log, route, monkeypatch):
    pytest.importorskip("pvlib")
    # 23:30 UTC at 50 north, 30 June 2026: the sun is down, whatever a meter says
    night = Series(1_782_862_200_000_000, 60.0, 60, {"solar_power_w": np.full(60, 30.0)})
    monkeypatch.setattr(asked, "load", lambda *_: night)
    panels = Boat.model_validate(log.boat.model_dump() | {"solar": {"peak_w": 300.0}})
    end_s = log.store.span()[1] / 1e6
    wish = PlanWish(route, departure_s=end_s + 3600, speeds_mps=(2.4,))
    assert plan_passage(OpenLog(log.store, panels), wish).sun_from == (
        "45 % of a clear sky, the usual share, as the log's last hours had no sun high enough to "
        "judge by"
    )


def test_an_arrival_before_the_departure_is_refused(log, route):
    # 1778932560 is 2026-05-16 11:56 UTC
    wish = PlanWish(route, departure_s=1778932560.0, arrive_by_s=0.0)
    with pytest.raises(BadRoute, match="wants an earlier departure than 2026-05-16T11:56Z"):
        plan_passage(log, wish)
