"""The best hour to leave, against a simulation of its own for each hour."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.environment.stream import given as given_stream
from analyzer.environment.stream_table import StreamTable, TableStream
from analyzer.environment.wind import Wind
from analyzer.estimation.estimate import Estimate
from analyzer.hull.power_curve import PowerCurve
from analyzer.pack.chemistry import chemistry
from analyzer.range.ahead import AHEAD_LOG_SD
from analyzer.range.leaving import Departure, best, departures
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import Surroundings
from analyzer.range.plan import FEW, Passage, cheapest
from analyzer.range.route import Leg, Route
from analyzer.range.run_down.discharge import Limits
from logger.units import HOUR_S

DRAWS = 1000
RESERVE = 0.2
NORTH = Leg("north", 14_000.0, 0.0, 0.0, 0.0)
BACK = Leg("south", 9_000.0, 180.0, 0.0, 0.0)
SPEED_MPS = 2.0
TIDE_MPS = 0.9
TIDE_S = 12.4206 * HOUR_S  # the moon's half day, textbook


def question(rng: np.random.Generator, n: int = DRAWS) -> ReachInput:
    """100 W at 1 m/s, as the cube; calm; a pack whose size is known within a tenth."""
    grid = np.linspace(0.3, 5.0, 48)
    one = np.ones(n)
    charge = {
        "soc": 0.95 * one,
        "capacity_ah": 72.0 * np.exp(0.1 * rng.standard_normal(n)),
        "r0_ohm": 3e-4 * one,
        "r1_ohm": 1e-4 * one,
        "temp_c": 25.0 * one,
    }
    return ReachInput(
        curve=PowerCurve(grid, np.log(100 * grid**3), 1e-12 * np.eye(48), leg_sd=0.0),
        stream=given_stream(0.0, 0.0, sd_mps=0.0),
        charge=charge,
        kind=chemistry("lfp"),
        cells=16,
        limits=Limits(RESERVE, 2.5),
        course_deg=None,
        speeds_mps=np.linspace(1.2, 3.0, 10),
        wind=Wind(0.0, 0.0, sd_mps=0.0),
    )


def tide() -> StreamTable:
    t_s = np.arange(0.0, 60 * HOUR_S, 300.0)
    return StreamTable(t_s, np.zeros_like(t_s), TIDE_MPS * np.cos(2 * np.pi * t_s / TIDE_S))


def passage(table: StreamTable, **changes) -> Passage:
    rng = np.random.default_rng(5)
    given = question(rng)
    water, few = (TableStream.around(table, n, rng) for n in (DRAWS, FEW))
    route = Route("", (NORTH, BACK))
    made = Passage(given, route, 0.0, Surroundings(water), Surroundings(few))
    return replace(made, **changes)


def walked(leave_s: float, rng: np.random.Generator, n: int = DRAWS) -> np.ndarray:
    """Charge on arrival by small steps of time, each boat with random numbers of its own, (n,)."""
    kind, given = chemistry("lfp"), question(rng, n)
    grid = np.linspace(0, 1, 400)
    ocv_v = kind.ocv_v(grid, temp_c=25.0, hysteresis=-1.0)
    scale, off = 1 + 0.15 * rng.standard_normal(n), 0.12 * rng.standard_normal((n, 2))
    power_w = 100 * SPEED_MPS**3 * np.exp(AHEAD_LOG_SD * rng.standard_normal(n))
    soc, t_s, step_s = given.charge["soc"].copy(), np.full(n, leave_s), 60.0
    for leg, sign in ((NORTH, 1.0), (BACK, -1.0)):
        left_m = np.full(n, leg.distance_m)
        while ((left_m > 1e-3) & (soc > 0)).any():  # an empty pack ends it
            north = scale * TIDE_MPS * np.cos(2 * np.pi * t_s / TIDE_S) + off[:, 1]
            made = np.maximum(np.sqrt(SPEED_MPS**2 - off[:, 0] ** 2) + sign * north, 0.05)
            seconds = np.clip(left_m / made, 0.0, step_s)
            cell_v = np.interp(soc, grid, ocv_v)
            # V = E - R I and P = 16 V I, R of one cell: by hand
            amps = (cell_v - np.sqrt(cell_v**2 - 4 * 4e-4 * power_w / 16)) / (2 * 4e-4)
            soc = np.maximum(soc - amps * seconds / HOUR_S / given.charge["capacity_ah"], 0.0)
            left_m, t_s = left_m - made * seconds, t_s + seconds
    return soc


def test_each_hour_is_as_sure_as_a_simulation_of_its_own_says():
    hours = np.arange(0.0, 24.5, 3.0) * HOUR_S
    rows = departures(passage(tide(), speeds_mps=(SPEED_MPS, SPEED_MPS)), hours)
    rng = np.random.default_rng(77)
    brute = np.array([(walked(t, rng) > RESERVE).mean() for t in hours])
    told = np.array([row.arrives_frac for row in rows])
    assert brute.max() - brute.min() > 0.4  # or the hour would not matter
    # four standard deviations of two counts (binomial), and 0.02 for pieces of a leg and tables
    bound = 4 * np.sqrt(brute * (1 - brute) * 2 / DRAWS) + 0.02
    assert np.all(np.abs(told - brute) < bound)
    chosen = best(rows)
    assert brute[rows.index(chosen)] > brute.max() - 0.03


def test_in_still_water_every_hour_is_the_same_to_the_last_draw():
    still = StreamTable(np.zeros(1), np.zeros(1), np.zeros(1))
    told = (SPEED_MPS, 2.3)
    rows = departures(passage(still, speeds_mps=told), np.arange(0.0, 9.0, 3.0) * HOUR_S)
    assert 0.02 < rows[0].arrives_frac < 0.999
    for row in rows[1:]:
        assert row.arrives_frac == rows[0].arrives_frac
        assert row.charge.mid == pytest.approx(rows[0].charge.mid, abs=1e-12)


def test_each_hour_has_the_speeds_that_a_plan_of_its_own_would_choose():
    asked = passage(tide())
    asked = replace(asked, given=replace(asked.given, hotel_w=(700.0, 0.0)))  # slow is not cheap
    hours = np.array([0.0, 5.0, 11.0]) * HOUR_S
    together = cheapest(asked, hours)
    for row, leave_s in zip(together, hours, strict=True):
        assert row == pytest.approx(cheapest(replace(asked, departure_s=float(leave_s)))[0])
    assert len({tuple(row) for row in together}) > 1  # or the tide would not matter


def test_an_hour_that_cannot_be_in_time_is_not_the_best():
    asked = passage(tide(), arrive_by_s=6.0 * HOUR_S)
    rows = departures(asked, np.array([0.0, 1.0, 5.5]) * HOUR_S)
    assert rows[-1].in_time_frac == 0.0  # 23 km in half an hour
    assert best(rows).departure_utc_s < 5.0 * HOUR_S


def test_in_time_is_who_arrives_at_the_wanted_hour_at_the_latest():
    """14 km at 2.0 m/s and 9 km at 2.3 m/s in still water: 3.03 h, give or take some minutes."""
    still = StreamTable(np.zeros(1), np.zeros(1), np.zeros(1))
    asked = passage(still, speeds_mps=(SPEED_MPS, 2.3), arrive_by_s=4.0 * HOUR_S)
    early, late = departures(asked, np.array([0.0, 2.0]) * HOUR_S)
    assert early.in_time_frac == early.arrives_frac > 0.0
    assert late.in_time_frac == 0.0


def row(at_s: float, sure: float, charge: float) -> Departure:
    left = Estimate(charge, charge, charge, "frac")
    return Departure(at_s, sure, None, left, left, left, (2.0,))


def test_of_hours_as_sure_the_one_with_most_charge_left_is_best_then_the_first():
    rows = [row(0.0, 0.90, 0.8), row(1.0, 0.998, 0.3), row(2.0, 1.0, 0.5), row(3.0, 1.0, 0.5)]
    assert best(rows).departure_utc_s == 2.0
    half_a_per_cent_less = [row(0.0, 0.995, 0.8), row(1.0, 1.0, 0.5)]
    assert best(half_a_per_cent_less).departure_utc_s == 0.0
