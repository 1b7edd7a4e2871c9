"""What would help most, asked of the demo's log and of sums that can be done by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.answers.gain import loads, measures, usual
from analyzer.answers.gain.gain import gain
from analyzer.answers.gain.rows import GainRow, UnsaidGain
from analyzer.environment.solar import haurwitz_w_m2
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.results import LegRow, TripRow
from analyzer.hull.power_curve import PowerCurve
from analyzer.range.reach import reach
from analyzer.range.sample import sample
from analyzer.range.what_if import changes
from analyzer.range.what_if.fouling import CleanBottom
from analyzer.series.log import OpenLog
from tests.support.range_inputs import question


@pytest.fixture(scope="module")
def asked(demo_log):
    """The usual question of the demo's boat."""
    with OpenLog.open(demo_log) as log:
        yield usual.usual(log)


@pytest.fixture(scope="module")
def answer(demo_log):
    with OpenLog.open(demo_log) as log:
        return gain(log)


def test_the_largest_gain_comes_first(answer):
    far = [row.distance.mid for row in answer.rows]
    assert far == sorted(far, reverse=True)


def test_nothing_is_claimed_without_its_range(answer):
    for row in answer.rows:
        for figure in (row.distance, row.idle, row.energy_year):
            if figure.known:
                assert figure.low <= figure.mid <= figure.high, row
            else:
                assert figure.reason, row


def test_what_is_not_said_says_why(answer):
    assert all(row.reason for row in answer.unsaid)
    unmeasured = {row.measure for row in answer.unsaid if row.reading}
    assert {"night_load", "clean_bottom", "shade", "gear"} <= unmeasured


def test_every_measure_is_there_once(answer):
    named = [row.measure for row in (*answer.rows, *answer.unsaid)]
    assert len(named) == len(set(named))
    assert set(named) == {
        "slower", "clean_bottom", "joint", "weak_cell", "warm_pack", "cable", "second_pack",
        "larger_pack", "gear", "propeller", "shade", "panel", "night_load", "charge_known",
    }  # fmt: skip


def test_slower_is_the_two_columns_of_one_answer(asked):
    (row,) = measures.slower(asked)
    more = asked.result.distance_m[:, 0] - asked.result.distance_m[:, 1]
    assert row.distance.mid == pytest.approx(np.median(more))


def test_the_load_alone_lasts_as_long_as_the_pack_holds():
    """100 Ah of 16 cells near 3.3 V without resistance, four fifths of it, at 50 W: 84 h; iron
    phosphate lies between 3.2 and 3.4 V there (makers' sheets)."""
    given = question(hotel_w=(50.0, 0.0))
    full = replace(given, charge={**given.charge, "soc": np.ones(400)})
    hours = np.median(usual.idle_s(full)) / 3600
    assert 80 * 16 * 3.2 / 50 < hours < 80 * 16 * 3.4 / 50


def test_a_clean_bottom_gives_the_speed_back():
    """Power as the cube of speed, a tenth of speed lost at the same power: 0.9³ of it, clean."""
    given = question()
    clean = changes.after(given, CleanBottom(-0.10, 0.0))
    change = sample(clean).draws.log_power - sample(given).draws.log_power
    inside = change[:, 5:-5]
    assert inside == pytest.approx(3 * np.log(0.9), rel=0.02)


def test_cleaning_never_costs():
    """Where scatter says that the boat is faster than it was, there is nothing to take off."""
    clean = changes.after(question(), CleanBottom(0.02, 0.002))
    assert reach(clean).distance_m == pytest.approx(reach(question()).distance_m, rel=1e-9)


def test_a_known_charge_narrows_what_is_told(asked):
    """Half of the charges that may be lie above the median: so does the lower end told."""
    (row,) = loads.charge_known(asked)
    assert row.distance.low < row.distance.mid < row.distance.high
    assert row.distance.mid > 0


def test_the_clear_sky_is_haurwitz_s():
    """1098 sin h exp(-0.057 / sin h): 1037 W/m² at the zenith, 490 at 30° (worked by hand)."""
    found = haurwitz_w_m2(np.array([1.0, 0.5, 0.0, -0.3]))
    assert found == pytest.approx([1037.2, 489.8, 0.0, 0.0], abs=0.5)


def test_a_year_wants_a_month_of_log(asked):
    assert asked.year is None
    assert "28 days" in asked.no_year


def test_a_year_is_the_log_s_days_times_their_share():
    year = usual.Year(motor_wh=1000.0, motor_m=2000.0, log_sd=0.2, days=60.0)
    drawn = year.draws(1000.0, question(n=4000))
    assert np.median(drawn) == pytest.approx(1000.0, rel=0.02)
    assert np.log(drawn).std() == pytest.approx(0.2, rel=0.05)


def test_rows_and_what_is_unsaid_are_two_kinds(asked):
    for ask in (measures.packs, measures.propeller, loads.panel):
        for one in ask(asked):
            assert isinstance(one, GainRow | UnsaidGain)


def test_a_second_pack_goes_about_twice_as_far(asked):
    """Two packs of one label, the same reserve: twice, more by the sag that is halved, and by how
    far the one aboard lies under its label."""
    second, larger = measures.packs(asked)
    far = np.median(asked.result.distance_m[:, -1])
    assert 0.95 < second.distance.mid / far < 1.3
    assert 0.48 < larger.distance.mid / far < 0.6


def test_a_curve_s_slope_is_the_law_s():
    assert question().curve.slope(np.array([1.0, 2.0])) == pytest.approx([3.0, 3.0], rel=0.02)
    assert isinstance(question().curve, PowerCurve)


def trip(number: int, day: float, wh: float, far_m: float) -> TripRow:
    """A trip of an hour under motor and one under sail, so many days after the first."""
    start_s = 1_780_000_000.0 + day * 86_400.0
    legs = (
        LegRow("motoring", start_s, start_s + 3600, far_m, wh, 2.0),
        LegRow("sailing", start_s + 3600, start_s + 7200, 9000.0, 50.0, 2.5),
    )
    none = cannot_say("", "frac")
    return TripRow(number, start_s, start_s + 7200, far_m, wh, 0.0, None, none, none, legs)


def test_a_year_is_what_the_log_s_motoring_comes_to(monkeypatch):
    """Four trips of 1, 2, 1 and 2 kWh in 60 days and two hours: 6 kWh x 365.25 / 60.083; of sums
    of so many trips (Poisson) the relative variance is (1 + (0.5 / 1.5)²) / 4."""
    rows = tuple(trip(k + 1, 20.0 * k, wh, 6000.0) for k, wh in enumerate((1e3, 2e3, 1e3, 2e3)))
    monkeypatch.setattr(usual, "trips", lambda _: rows)
    year, why = usual._year(None)
    assert why == ""
    assert year.motor_wh == pytest.approx(6000 * 365.25 / (60 + 2 / 24))
    assert year.motor_m == pytest.approx(24_000 * 365.25 / (60 + 2 / 24))
    assert year.log_sd**2 == pytest.approx((1 + (0.5 / 1.5) ** 2) / 4)


def test_three_weeks_are_no_year(monkeypatch):
    rows = tuple(trip(k + 1, 7.0 * k, 1e3, 6000.0) for k in range(4))
    monkeypatch.setattr(usual, "trips", lambda _: rows)
    year, why = usual._year(None)
    assert year is None
    assert why == "a year wants 28 days and 3 trips of log"


def test_growth_that_was_found_is_worth_its_power(asked, monkeypatch):
    """A twentieth of the speed lost, power as speed to the p: clean takes 0.95^p of it. What that
    is in distance lies between the same share of the whole and nothing."""
    loss = Estimate(-0.05, -0.06, -0.04, "frac")
    found = SimpleNamespace(fouling=SimpleNamespace(now=loss))
    monkeypatch.setattr(measures, "hull_state", lambda _: found)
    with_year = replace(asked, year=usual.Year(100e3, 200e3, 0.3, 90.0), no_year="")
    (row,) = measures.clean_bottom(with_year)
    speed = np.array([asked.speed_mps])
    share = 1 - 0.95 ** float(asked.given.curve.slope(speed)[0])
    assert row.energy_year.mid == pytest.approx(share * 100e3, rel=0.15)
    far_m = float(np.median(asked.result.distance_m[:, -1]))
    assert 0.5 * share < row.distance.mid / far_m < 1.3 * share / (1 - share)
    assert row.distance.low > 0
