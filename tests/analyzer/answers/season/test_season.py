"""A season of even trips, whose sums are known by hand."""

import numpy as np
import pytest

from analyzer.answers import Log, to_json
from analyzer.errors import NoTrip
from analyzer.estimation.estimate import cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import LegRow, TripRow
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned import season_history
from analyzer.learned.keys import STEADY
from logger.store import Store, TripRecord
from logger.units import DAY_S
from tests.support.invented import InventedLog
from tests.support.odd_logs import HALF_S, MONTH_S, START_US

TRIPS = 5
WATTS, SPEED_MPS = 1000.0, 2.2
WH = WATTS * HALF_S / 3600
FAR_M = SPEED_MPS * HALF_S
# As a ledger tells them, positive out of the pack; nothing is left over, by hand.
LEDGER = {
    "to the motor": (210.0, 205.0, 215.0, ""),
    "to the hotel load": (38.0, 30.0, 50.0, "by the boat file's typical power, not measured"),
    "from the sun": (None, None, None, "not measured"),
    "lost in cables and contactor": (2.0, 1.0, 3.0, ""),
    "not accounted for": (0.0, -10.0, 10.0, ""),
    "given by the pack, net": (WH, WH - 3, WH + 3, ""),
}


def kept_trip(store, number):
    """A quarter of an hour under motor, a month after the one before."""
    start_us = START_US + number * MONTH_S * 1_000_000
    end_us = start_us + HALF_S * 1_000_000
    leg = LegRow("motoring", start_us / 1e6, end_us / 1e6, FAR_M, WH, SPEED_MPS)
    charge = cannot_say("not followed", "frac")
    row = TripRow(number, start_us / 1e6, end_us / 1e6, FAR_M, WH, 0.0, WH / FAR_M, charge, charge,
                  (leg,))  # fmt: skip
    points = SteadyPoints(
        speed_mps=np.array([SPEED_MPS]),
        power_w=np.array([900.0]),
        log_sd=np.array([0.03]),
        speed_sd_mps=np.array([0.05]),
        duration_s=np.array([float(HALF_S)]),
        t_utc_s=np.array([(start_us + end_us) / 2e6]),
        group=np.array([0]),
    )
    store.put_learned(STEADY, points.to_dict(), start_us, end_us)
    store.put_learned(season_history.TRIP, {"recorded_s": HALF_S, "rows": LEDGER}, start_us, end_us)
    return TripRecord(number, start_us, end_us, to_json(row))


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """Five quarters of an hour under motor, a month apart, as a look through leaves them."""
    path = tmp_path_factory.mktemp("season") / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(InventedLog.boat_toml, 1)
        store.put_trips([kept_trip(store, number) for number in range(1, TRIPS + 1)])
    return Log(path, None)


@pytest.fixture(scope="module")
def answer(log):
    return log.season()


def row(answer, kind):
    return next(one for one in answer.energy if one.kind == kind)


def test_miles_and_hours_add_up(answer):
    assert answer.trips == TRIPS
    assert answer.distance.mid == pytest.approx(TRIPS * FAR_M)
    assert answer.motor_s == pytest.approx(TRIPS * HALF_S)
    assert answer.sail_s == 0


def test_energies_add_up_with_their_errors_and_the_ledger_closes(answer):
    given = row(answer, "pack").under_way
    # one instrument: its errors add up, too
    assert (given.mid, given.low, given.high) == pytest.approx(
        (TRIPS * WH, TRIPS * (WH - 3), TRIPS * (WH + 3))
    )
    used = ("motor", "hotel", "cables", "left_over")
    assert sum(row(answer, kind).under_way.mid for kind in used) == pytest.approx(given.mid)
    assert "not measured" in row(answer, "hotel").under_way.reason


def test_what_is_not_measured_says_so(answer):
    sun = row(answer, "sun")
    assert not sun.under_way.known
    assert (sun.under_way.reason, sun.trips) == ("not measured", 0)


def test_each_month_is_told_by_itself(answer):
    assert [one.month for one in answer.months] == [
        f"2026-{6 + k:02d}" for k in range(1, TRIPS + 1)
    ]
    per_m = WH / FAR_M
    for one in answer.months:
        assert one.trips == 1
        assert one.consumption.mid == pytest.approx(per_m)
        assert one.consumption.low < per_m < one.consumption.high


def test_a_part_of_the_time_is_a_part_of_the_trips(log):
    begun_s = START_US / 1e6 + 2 * MONTH_S - DAY_S
    found = log.season(begun_s, begun_s + 2 * MONTH_S)
    assert found.trips == 2
    assert row(found, "pack").trips == 2


def test_a_time_without_trips_says_so(log):
    with pytest.raises(NoTrip, match="no trip of the log began in that time"):
        log.season(0.0, 1e6)


def test_growth_that_is_not_there_costs_nothing_for_sure(answer):
    lost = answer.fouling.speed
    assert lost.low <= 0.0 <= lost.high
    assert answer.fouling.energy.low <= 0.0 <= answer.fouling.energy.high


def test_kept_hindcasts_add_up(log):
    with pytest.MonkeyPatch.context() as patch:
        asked = []
        from analyzer.answers.season import range_held
        from analyzer.range.hindcast import Asked, Hindcast, score

        def invented(open_log, record, every_s):
            asked.append(record.number)
            made = 1000.0 if record.number % 2 else 3000.0
            rows = (
                Asked(1.0, (0.0, 1.0, 2.0), 0.5, (900.0, 1000.0, 1100.0), made, 600.0),
                Asked(2.0, (0.0, 1.0, 2.0), 0.5, None, None, 0.0),
            )
            found = Hindcast(rows, score(rows))
            return type("Answer", (), {"hindcast": found})()

        patch.setattr(range_held, "hindcast_trip", invented)
        assert log.look_back(most=2)
        assert asked == [1, 2]
        assert not log.look_back()
        assert not log.look_back()  # what is kept is not asked again
    assert asked == [1, 2, 3, 4, 5]
    held = log.season().range_held
    assert (held.trips, held.looked_at, held.compared) == (TRIPS, TRIPS, TRIPS)
    assert held.held_frac == pytest.approx(3 / 5)  # trips 1, 3 and 5 were foreseen


def test_usual_consumption_compares_months(log):
    from dataclasses import replace

    from analyzer.answers.season.consumption import at_usual
    from analyzer.answers.season.stretch import season_of

    with log.opened() as opened:
        asked = season_of(opened, None, None)
        assert asked.usual_mps == pytest.approx(2.2, rel=0.1)
        outing = asked.outings[0]
        dearer = replace(outing, points=replace(outing.points, power_w=1.3 * outing.points.power_w))
        plain, more = at_usual(asked, [outing]), at_usual(asked, [dearer])
        both = at_usual(asked, [outing, outing])
    assert more.mid / plain.mid == pytest.approx(1.3)
    # twice the same trips, as if independent: the logarithm's error over the root of two
    width = np.log(plain.high / plain.low) / (2 * Z80)
    assert np.log(both.high / both.low) / (2 * Z80) == pytest.approx(width / 2**0.5)
