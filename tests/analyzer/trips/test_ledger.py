"""The ledger on an hour whose energies are worked out by hand."""

import numpy as np
import pytest

from analyzer.series.series import Series
from analyzer.trips.ledger import ledger
from logger.boat import Boat, Cable, Hotel
from tests.support.motor_boat import motor_boat

N = 3600


def hour(**more: np.ndarray) -> Series:
    """Half an hour at 40 A into the controller, half an hour of 5 A coming back.

    Pack at 52 V, 51.8 V at the controller while motoring and 52.025 V while it gives back; hotel
    104 W, sun 156 W, all measured. At the pack: 40 + 2 - 3 = 39 A, then -5 + 2 - 3 = -6 A.
    """
    first = np.arange(N) < N // 2
    values = {
        "pack_voltage_v": np.full(N, 52.0),
        "controller_voltage_v": np.where(first, 51.8, 52.025),
        "controller_current_a": np.where(first, 40.0, -5.0),
        "pack_current_a": np.where(first, 39.0, -6.0),
        "hotel_power_w": np.full(N, 104.0),
        "solar_power_w": np.full(N, 156.0),
    }
    return Series(10**15, 1.0, N, {**values, **more})


def rows(series: Series, b: Boat) -> dict[str, object]:
    return {row.text: row.energy for row in ledger(series, None, b, None)}


def test_every_row_is_what_the_hand_works_out():
    got = rows(hour(), motor_boat())
    # 51.8 V x 40 A x 0.5 h; 52.025 V x 5 A x 0.5 h; 104 W and 156 W for an hour;
    # 0.2 V x 40 A x 0.5 h + 0.025 V x 5 A x 0.5 h; 52 V x (39 - 6) A x 0.5 h.
    assert got["to the motor"].mid == pytest.approx(1036.0)
    assert got["back from the motor (regeneration)"].mid == pytest.approx(-130.0625)
    assert got["to the hotel load"].mid == pytest.approx(104.0)
    assert got["from the sun"].mid == pytest.approx(-156.0)
    assert got["lost in cables and contactor"].mid == pytest.approx(4.0625)
    assert got["given by the pack, net"].mid == pytest.approx(858.0)


def test_it_closes_and_what_does_not_close_stands_under_its_own_name():
    got = rows(hour(), motor_boat())
    left = got["not accounted for"]
    assert left.mid == pytest.approx(0.0, abs=1e-6)
    assert left.low < 0 < left.high
    # A load that nobody knows of: 300 W at the pack.
    hidden = hour()
    hidden.values["pack_current_a"] = hidden.values["pack_current_a"] + 300.0 / 52.0
    left = rows(hidden, motor_boat())["not accounted for"]
    assert left.mid == pytest.approx(300.0)
    assert left.low > 0


def test_it_closes_within_its_error_on_meters_as_boats_have_them():
    """Gains within a per cent, offsets of tenths of an ampere: nine ledgers in ten hold zero."""
    rng = np.random.default_rng(3)
    held = []
    for _ in range(200):
        series = hour()
        for name in ("pack_current_a", "controller_current_a"):
            values = series.values[name]
            series.values[name] = values * rng.normal(1, 0.01) + rng.normal(0, 0.2)
        for name in ("hotel_power_w", "solar_power_w"):
            series.values[name] = series.values[name] * rng.normal(1, 0.01)
        left = rows(series, motor_boat())["not accounted for"]
        held.append(left.low < 0 < left.high)
    print(f"\n80 % range held zero in {np.mean(held):.0%}")
    assert np.mean(held) >= 0.74


def test_what_is_not_measured_is_said_and_not_counted_as_nothing():
    series = hour()
    for name in ("controller_current_a", "controller_voltage_v", "hotel_power_w"):
        del series.values[name]
    cable = Cable(name="positive", size_mm2=50, length_m=2)
    got = rows(series, motor_boat(hotel=Hotel(power_w=104), cable=(cable,)))
    assert "not measured" in got["to the hotel load"].reason
    assert 0 < got["to the hotel load"].low < 104 < got["to the hotel load"].high
    # The motor's part is what the pack gives beyond hotel and sun, 40 A x 52 V x 0.5 h, less the
    # cable's: 2 m of 0.386 mohm/m (IEC 60228) and a tenth more, 0.849 mohm x 40² A² x 0.5 h.
    assert got["to the motor"].mid == pytest.approx(1040.0 - 0.679, abs=0.002)
    assert "published resistance" in got["lost in cables and contactor"].reason
    # Nothing is counted twice; the cable's row goes by the pack's 39 A, the motor's by 40 A.
    assert got["not accounted for"].mid == pytest.approx(0.0, abs=0.05)
    for name in tuple(series.values):
        if not name.startswith("pack_"):
            del series.values[name]
    got = rows(series, motor_boat(hotel=Hotel(power_w=0, measured_in_pack_current=False)))
    assert got["to the hotel load"].mid is None
    assert "another battery" in got["to the hotel load"].reason


def test_gaps_add_nothing():
    series = hour()
    series.values["controller_current_a"][100:200] = np.nan
    got = rows(series, motor_boat())
    assert got["to the motor"].mid == pytest.approx(1036.0 * (1800 - 100) / 1800)


def test_a_spoiled_voltage_of_nothing_adds_nothing():
    series = hour(controller_current_a=np.full(N, np.nan))
    series.values["pack_voltage_v"][100:200] = 0.0
    with np.errstate(all="raise"):
        got = rows(series, motor_boat())
    # 39 A less the rest of the load, (104 - 156) W at 52 V, is 40 A at 51.8 V: as above.
    assert got["to the motor"].mid == pytest.approx(1036.0 * (1800 - 100) / 1800)


def test_without_any_current_nothing_is_told_of_the_cables():
    way = {"speed_ground_mps": np.full(N, 2.0)}
    cable = Cable(name="positive", size_mm2=50, length_m=2, probe="positive")
    got = rows(Series(10**15, 1.0, N, way), motor_boat(cable=[cable]))
    assert got["lost in cables and contactor"].mid is None
