"""Passages: routes read, legs walked, speeds chosen."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer import hull
from analyzer.chemistry import chemistry
from analyzer.curve import PowerCurve
from analyzer.errors import BadRoute
from analyzer.passage import NoSun
from analyzer.plan import FEW, Passage, plan
from analyzer.reach import ReachInput
from analyzer.route import Route, read_gpx, through
from analyzer.rundown import Limits
from analyzer.stream_table import StreamTable, TableStream, parse_utc, read_stream_table
from analyzer.wind import Wind
from logger.units import KN, NMI
from tests.analyzer.test_hull import boat

GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">
<rte><name>Out</name>
<rtept lat="50.0" lon="0.0"><name>Start</name></rtept>
<rtept lat="50.5" lon="0.0"><name>North</name></rtept>
<rtept lat="50.5" lon="0.1"><name>East</name></rtept>
</rte></gpx>"""


def sure_curve() -> PowerCurve:
    """100 W at 1 m/s, as the cube; nothing uncertain."""
    speed = np.linspace(0.3, 5.0, 48)
    return PowerCurve(speed, np.log(100 * speed**3), 1e-12 * np.eye(48))


def given(curve: PowerCurve | None = None, n: int = 400, **changes) -> ReachInput:
    one = np.ones(n)
    numbers = {
        "soc": 0.9 * one,
        "capacity_ah": 200 * one,
        "r0_ohm": 3e-4 * one,
        "r1_ohm": 1e-4 * one,
        "temp_c": 25 * one,
    }
    return ReachInput(
        curve=curve or sure_curve(),
        stream=None,
        charge=numbers,
        kind=chemistry("lfp"),
        cells=16,
        limits=Limits(0.2, 2.5),
        course_deg=None,
        speeds_mps=np.linspace(0.8, 3.2, 20),
        **changes,
    )


def still(n: int) -> TableStream:
    return TableStream(
        StreamTable(np.array([0.0]), np.zeros(1), np.zeros(1)), np.ones(n), np.zeros((n, 2))
    )


def passage(
    route: Route, question: ReachInput, table: StreamTable | None = None, **changes
) -> Passage:
    n = len(question.charge["soc"])
    water, few = still(n), still(FEW)
    if table is not None:
        water, few = (TableStream(table, np.ones(k), np.zeros((k, 2))) for k in (n, FEW))
    return Passage(question, route, 0.0, water, NoSun(), few, NoSun(), **changes)


def test_read_gpx_gives_geodesic_legs(tmp_path):
    path = tmp_path / "out.gpx"
    path.write_text(GPX)
    route = read_gpx(path)
    assert route.name == "Out"
    assert [leg.name for leg in route.legs] == ["North", "East"]
    # published geodesic: 50 N, half a degree north 55 616.939 m
    assert route.legs[0].distance_m == pytest.approx(55616.939, abs=0.01)
    assert route.legs[1].course_deg == pytest.approx(90, abs=0.1)


@pytest.mark.parametrize("text", ["no xml at all", "<gpx></gpx>"])
def test_read_gpx_says_what_is_wrong(tmp_path, text):
    path = tmp_path / "bad.gpx"
    path.write_text(text)
    with pytest.raises(BadRoute):
        read_gpx(path)


def test_stream_table_is_read_and_interpolated(tmp_path):
    path = tmp_path / "stream.csv"
    path.write_text("utc,speed_kn,toward_deg\n2026-07-01T06:00Z,2,90\n2026-07-01T08:00Z,2,270\n")
    table = read_stream_table(path)
    east, north = table.at(np.array([parse_utc("2026-07-01T06:30Z")]))
    assert east[0] == pytest.approx(1.0 * KN)  # a quarter of the way from +2 to -2 kn
    assert north[0] == pytest.approx(0.0, abs=1e-9)


def test_stream_table_error_names_the_line(tmp_path):
    path = tmp_path / "stream.csv"
    path.write_text("utc,speed_kn,toward_deg\n2026-07-01T06:00Z,fast,90\n")
    with pytest.raises(BadRoute, match="line 2"):
        read_stream_table(path)


def test_energy_of_a_leg_in_still_water_is_power_times_time():
    # by hand: 10 nmi at 2 m/s is 9260 s at 800 W = 2057.8 Wh
    route = through([(0.0, 0.0, ""), (0.0, np.degrees(10 * NMI / 6378137), "end")])
    answer = plan(passage(route, given(), speeds_mps=(2.0,)))
    distance = answer.distance_m
    assert distance == pytest.approx(10 * NMI, rel=1e-6)
    assert answer.energy.mid == pytest.approx(800 * distance / 2.0 / 3600, rel=0.08)
    assert answer.arrival_utc_s.mid == pytest.approx(distance / 2.0, rel=1e-6)
    assert answer.arrives_frac == 1.0


def test_a_foul_stream_costs_time_and_energy():
    route = through([(0.0, 0.0, ""), (0.0, 0.1, "end")])
    foul = StreamTable(np.array([0.0]), np.array([-0.5]), np.array([0.0]))
    fair = StreamTable(np.array([0.0]), np.array([0.5]), np.array([0.0]))
    against = plan(passage(route, given(), foul, speeds_mps=(2.0,)))
    along = plan(passage(route, given(), fair, speeds_mps=(2.0,)))
    # by hand: over ground 1.5 and 2.5 m/s
    assert against.arrival_utc_s.mid / along.arrival_utc_s.mid == pytest.approx(2.5 / 1.5, rel=1e-3)
    assert against.energy.mid / along.energy.mid == pytest.approx(2.5 / 1.5, rel=1e-2)


def test_cheapest_speed_against_a_stream_is_half_as_fast_again():
    # textbook: with power as the cube of speed and no other load, energy per distance against a
    # stream c is least at speed 3/2 c through water
    route = through([(0.0, 0.0, ""), (0.0, 0.05, "end")])
    foul = StreamTable(np.array([0.0]), np.array([-1.0]), np.array([0.0]))
    answer = plan(passage(route, given(), foul))
    assert answer.legs[0].speed_water_mps == pytest.approx(1.5, abs=0.13)  # one step of the choice


def test_cheapest_plan_arrives_in_time_and_not_faster_than_it_must():
    route = through([(0.0, 0.0, ""), (0.0, 0.1, "a"), (0.1, 0.1, "b")])
    wanted = route.distance_m / 2.2
    answer = plan(passage(route, given(), arrive_by_s=wanted))
    assert answer.in_time_frac == 1.0
    assert answer.arrival_utc_s.mid > 0.9 * wanted


def test_too_far_a_passage_has_no_chance_and_says_where_it_ends():
    route = through([(0.0, 0.0, ""), (0.0, 0.3, "a"), (0.0, 0.9, "b")])
    answer = plan(passage(route, given(), speeds_mps=(2.5, 2.5)))
    assert answer.arrives_frac == 0.0
    assert answer.legs[0].holds_frac > answer.legs[1].holds_frac


def test_day_one_curve_gives_a_wide_plan():
    curve = hull.prior(boat())
    route = through([(0.0, 0.0, ""), (0.0, 0.2, "end")])
    answer = plan(passage(route, given(curve), speeds_mps=(2.4,)))
    assert answer.energy.high / answer.energy.low > 1.6
    assert "hull's numbers alone" in answer.reason


def test_head_wind_costs_more_than_wind_from_astern():
    route = through([(0.0, 0.0, ""), (0.0, 0.1, "end")])
    base = replace(given(), windage_m2=3.0)
    ahead = plan(passage(route, replace(base, wind=Wind(6.0, 90.0)), speeds_mps=(2.0,)))
    astern = plan(passage(route, replace(base, wind=Wind(6.0, 270.0)), speeds_mps=(2.0,)))
    assert ahead.energy.mid > 1.3 * astern.energy.mid
