"""Run-downs through days and nights, against the same energy counted minute by minute."""

import numpy as np
import pytest
from pytest import approx

from analyzer.environment.sun_ahead import HOURS, SunPaths
from analyzer.estimation.results import BEYOND
from analyzer.range.run_down.discharge import LIMITS, Limits, PackDraws
from analyzer.range.run_down.through_days import first_passage_s, through_days

DAY = 400.0 * np.maximum(np.sin(2 * np.pi * (HOURS - 2.0) / 24), 0.0)  # sunrise in two hours


def by_minutes(drawn_w, energy_wh, room_wh, watts):
    """Hours until the energy is gone; what comes while the pack is full is lost."""
    left_wh = energy_wh
    for minute in range(72 * 60):
        sun_w = np.interp((minute + 0.5) / 60, HOURS, watts)
        left_wh = min(left_wh - (drawn_w - sun_w) / 60, energy_wh + room_wh)
        if left_wh <= 0:
            return (minute + 1) / 60
    return 72.0


@pytest.mark.parametrize(
    ("drawn_w", "energy_wh", "room_wh"),
    [
        (500.0, 3000.0, 500.0),  # within the first day
        (150.0, 2500.0, 5000.0),  # the second night
        (150.0, 2500.0, 300.0),  # full by noon: the afternoon's sun is lost
        (150.0, 1200.0, 100.0),  # the night at once
        (90.0, 4000.0, 500.0),  # longer than is looked
        (100.0, 150.0, 0.0),  # before sunrise
    ],
)
def test_ends_when_the_energy_counted_minute_by_minute_is_gone(drawn_w, energy_wh, room_wh):
    want = by_minutes(drawn_w, energy_wh, room_wh, DAY)
    one = [np.array([[value]]) for value in (drawn_w, energy_wh, room_wh)]
    got = first_passage_s(*one, SunPaths(DAY[None]))[0, 0] / 3600
    assert got == pytest.approx(want, abs=0.1)


def test_a_night_ends_what_the_mean_over_days_would_carry():
    # mean sun 127 W (400 / pi): more than the draw of 120 W, and yet the first night is too long
    one = [np.array([[value]]) for value in (120.0, 900.0, 200.0)]
    ends_h = first_passage_s(*one, SunPaths(DAY[None]))[0, 0] / 3600
    assert 14.0 < ends_h < 26.0


def ideal_pack(n):
    """No resistance and a flat curve of 3.3 V: 16 cells of 100 Ah."""
    flat_v = np.full(141, 3.3)
    zero = np.zeros(n)
    return PackDraws(zero + 0.8, zero + 100.0, zero + 1e-6, zero, zero, zero, 16, flat_v)


def test_an_ideal_pack_lasts_as_long_as_its_watt_hours():
    # 60 of 100 Ah at 52.8 V are 3168 Wh above the reserve; room for 20 Ah
    pack, limits = ideal_pack(1), Limits(0.2, 2.0)
    motor_w, hotel_w = np.array([[100.0, 400.0]]), np.array([[50.0]])
    run, taken_w = through_days(
        motor_w, lambda _: motor_w, hotel_w, SunPaths(DAY[None]), pack, limits
    )
    for k, drawn_w in enumerate((150.0, 450.0)):
        want = by_minutes(drawn_w, 3168.0, 1056.0, DAY)
        assert run.duration_s[0, k] / 3600 == pytest.approx(want, abs=0.15)
    assert np.array_equal(taken_w, motor_w)
    assert LIMITS[run.limit[0, 0]] == "reserve" != BEYOND


def test_without_sun_it_is_energy_over_power_and_as_in_a_sun_that_is_none():
    rng = np.random.default_rng(4)
    drawn_w = np.vstack([rng.uniform(1, 3000, (40, 5)), np.zeros((1, 5))])
    energy_wh = np.vstack([rng.uniform(0, 9000, (40, 5)), np.full((1, 5), 10.0)])
    dark = np.zeros((41, len(DAY)))
    got_s = first_passage_s(drawn_w, energy_wh, 0 * drawn_w, SunPaths(dark))
    # three days are the longest looked at
    assert got_s[:40] / 3600 == approx(np.minimum(energy_wh / drawn_w.clip(1e-12), 72.0)[:40])
    assert got_s[40] / 3600 == approx(72.0)
    dim = first_passage_s(drawn_w, energy_wh, 0 * drawn_w, SunPaths(dark + 1e-12))
    assert got_s == approx(dim, rel=1e-9, abs=1e-6)
