"""Passages: routes read, legs walked, speeds chosen."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.environment.stream_table import (
    StreamTable,
    TableStream,
    parse_utc,
    read_stream_table,
)
from analyzer.environment.wind import Wind
from analyzer.errors import BadRoute
from analyzer.hull import hull
from analyzer.hull.power_curve import PowerCurve
from analyzer.pack.chemistry import chemistry
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import Surroundings, draw_boats, leg_power_w
from analyzer.range.plan import FEW, Passage, plan
from analyzer.range.route import Route, read_gpx, through
from analyzer.range.run_down.discharge import Limits
from logger.units import KN, NMI
from tests.support.gpx import GPX
from tests.support.hull_boat import boat


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
        stream=given_stream(0.0, 0.0, sd_mps=0.0),
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
    return Passage(question, route, 0.0, Surroundings(water), Surroundings(few), **changes)


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
    table = read_stream_table(path, 0.0)
    east, north = table.at(np.array([parse_utc("2026-07-01T06:30Z")]))
    assert east[0] == pytest.approx(1.0 * KN)  # a quarter of the way from +2 to -2 kn
    assert north[0] == pytest.approx(0.0, abs=1e-9)


def test_stream_table_error_names_the_line(tmp_path):
    path = tmp_path / "stream.csv"
    path.write_text("utc,speed_kn,toward_deg\n2026-07-01T06:00Z,fast,90\n")
    with pytest.raises(BadRoute, match="line 2"):
        read_stream_table(path, 0.0)


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


CALM = Wind(0.0, 0.0, sd_mps=0.0)
OUT_AND_BACK = through([(0.0, 0.0, ""), (0.0, 0.1, "out"), (0.0, 0.0, "back")])


def width(estimate) -> float:
    return float(np.log(estimate.high / estimate.low))


def test_a_wind_nobody_knows_widens_every_leg_and_the_whole():
    base = replace(given(n=2000), windage_m2=3.0)
    unknown = plan(passage(OUT_AND_BACK, base, speeds_mps=(2.0, 2.0)))
    calm = plan(passage(OUT_AND_BACK, replace(base, wind=CALM), speeds_mps=(2.0, 2.0)))
    assert width(unknown.energy) > 2 * width(calm.energy)
    for k in range(2):
        assert width(unknown.legs[k].energy) > 4 * width(calm.legs[k].energy)
    # what hinders out helps back, so a leg is less sure than both together
    assert width(unknown.legs[0].energy) > 1.5 * width(unknown.energy)


def test_one_wind_blows_out_and_back():
    asked = replace(given(n=2000), windage_m2=3.0)
    boats = draw_boats(asked, OUT_AND_BACK, Surroundings(still(2000)))
    out, back = (
        leg_power_w(boats, k, leg, 2.0, np.zeros(2000)) for k, leg in enumerate(OUT_AND_BACK.legs)
    )
    assert np.corrcoef(out, back)[0, 1] < -0.4


def test_power_in_any_wind_is_as_the_drag_law_has_it():
    # 800 W at 2 m/s, 3 m2; Rayleigh winds of scale 5 m/s from anywhere; drag 0.9 and 1.225 kg/m3,
    # 41 % from battery to tow power, waves up to 0.005 of the wind squared (wind.py's head)
    rng = np.random.default_rng(7)
    wind, off = rng.rayleigh(5 / np.sqrt(2), 200_000), rng.uniform(0, 2 * np.pi, 200_000)
    area, sea = 3 * np.exp(0.3 * rng.standard_normal(200_000)), rng.uniform(0, 0.005, 200_000)
    air = wind * np.cos(off) + 2
    force_n = 0.5 * 1.225 * 0.9 * area * (air * np.abs(air) - 4)
    waves = 800 * sea * wind**2 * np.maximum(np.cos(off), 0)
    want = np.percentile(np.maximum(800 + force_n * 2 / 0.41, 0.3 * 800) + waves, (10, 50, 90))
    asked = replace(given(n=4000), windage_m2=3.0)
    boats = draw_boats(asked, OUT_AND_BACK, Surroundings(still(4000)))
    power = leg_power_w(boats, 0, OUT_AND_BACK.legs[0], 2.0, np.zeros(4000))
    assert np.percentile(power, (10, 50, 90)) == pytest.approx(want, rel=0.06)


def test_a_measured_wind_fades_into_any_wind():
    lasting = Wind(6.0, 90.0, sd_mps=0.5)
    asked = replace(given(n=4000), windage_m2=3.0)

    def powers(wind, hours):
        boats = draw_boats(replace(asked, wind=wind), OUT_AND_BACK, Surroundings(still(4000)))
        return leg_power_w(boats, 0, OUT_AND_BACK.legs[0], 2.0, np.full(4000, 3600.0 * hours))

    fading = replace(lasting, lasts_s=12 * 3600.0)
    assert np.array_equal(powers(fading, 0), powers(lasting, 24))
    spread = [np.std(np.log(powers(fading, hours))) for hours in (0, 3, 12)]
    assert np.all(np.diff(spread) > 0)
    # after a week nothing of it is left: then it is as if nobody had measured
    assert np.percentile(powers(fading, 168), (10, 50, 90)) == pytest.approx(
        np.percentile(powers(None, 0), (10, 50, 90)), rel=0.05
    )


def test_told_wind_takes_what_the_drag_law_and_waves_say():
    # by hand, 6 m/s at 2 m/s and 3 m2: from ahead 0.5 x 1.225 x 0.9 x 3 x (64 - 4) = 99.2 N, over
    # 41 % 484 W, waves 0.0025 x 36 of 800 W = 72 W; from astern (-16 - 4) -33.1 N, -161 W
    base = replace(given(n=2000), windage_m2=3.0)
    winds = (Wind(6.0, from_deg, sd_mps=0.0) for from_deg in (90.0, 270.0))
    ahead, astern = (
        plan(passage(OUT_AND_BACK, replace(base, wind=wind), speeds_mps=(2.0, 2.0))).legs[0]
        for wind in winds
    )
    assert ahead.energy.mid / astern.energy.mid == pytest.approx(1356 / 639, rel=0.03)


@pytest.mark.parametrize("reach_share", [0.92, 1.08])
def test_an_unknown_wind_moves_the_chance_toward_the_middle(reach_share):
    # by hand: 0.7 of 16 x 200 Ah at 3.25 V is 7.3 kWh: 9.1 h at 800 W, 65.5 km at 2 m/s
    route = through([(0.0, 0.0, ""), (0.0, reach_share * 65500 / 111320, "end")])
    base = replace(given(n=1000), windage_m2=3.0)
    unknown = plan(passage(route, base, speeds_mps=(2.0,))).arrives_frac
    calm = plan(passage(route, replace(base, wind=CALM), speeds_mps=(2.0,))).arrives_frac
    assert abs(unknown - 0.5) < abs(calm - 0.5) - 0.1
    assert (unknown < calm) == (reach_share < 1)
