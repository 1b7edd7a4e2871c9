"""Ageing from kept states, on invented histories."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from analyzer.pack.ageing import ageing
from analyzer.pack.soc import known
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
MONTH_US = round(30.4 * 24 * 3600 * 1e6)


def history(months, ah_per_month, sd_ah, r_per_month=0.0):
    first = known(PACK, 0.8, 0.05)
    return [
        replace(
            first,
            t_us=k * MONTH_US,
            capacity_ah=200 - ah_per_month * k,
            capacity_sd_ah=sd_ah,
            r_factor=1.0 + r_per_month * k,
            r_factor_sd=0.03,
        )
        for k in range(months)
    ]


def test_ageing_tells_falling_capacity():
    found = ageing(history(18, 0.5, 2.0))
    # half an Ah of 200 a month is 3 % a year
    assert found.capacity.per_year.low < -0.03 < found.capacity.per_year.high
    # by hand: 0.5 Ah in 30.4 of 365.25 days, of the mean of eighteen months, 195.75 Ah
    assert found.capacity.per_year.mid == pytest.approx(-0.5 * 365.25 / 30.4 / 195.75, rel=1e-3)
    assert any("Capacity falls by about 3 % a year" in r for r in found.remarks)


def test_ageing_tells_rising_resistance():
    found = ageing(history(18, 0.0, 2.0, r_per_month=0.01))
    assert any(r.startswith("Resistance rises") for r in found.remarks)


def test_ageing_says_what_cannot_be_seen_on_the_plateau():
    found = ageing(history(18, 0.5, 16.0))
    assert not found.capacity.per_year.known
    assert any("flat part" in r for r in found.remarks)


def test_ageing_of_nothing():
    assert ageing([]).remarks == ()


def cold_last(trips: int, factor: float) -> list:
    """Resistance the same all along, but for how this pack takes the cold: the last two trips were
    at 3 °C, where `factor` is left of what its chemistry's usual energy did not take out."""
    first = known(PACK, 0.8, 0.05)
    warm = [
        replace(first, t_us=k * MONTH_US, r_factor=1.0, r_factor_sd=0.03, temp_c=22.0)
        for k in range(trips - 2)
    ]
    cold = [
        replace(first, t_us=k * MONTH_US, r_factor=factor, r_factor_sd=0.03, temp_c=3.0)
        for k in (trips - 2, trips - 1)
    ]
    return warm + cold


def test_two_cold_trips_at_the_end_are_not_ageing():
    """12 kJ/mol off the usual energy makes 1.48 of it at 3 °C: exp(12e3/8.314·(1/276-1/298))."""
    found = ageing(cold_last(6, 1.4))
    assert not any(r.startswith("Resistance rises") for r in found.remarks)
    assert any("cannot tell age from cold" in r for r in found.remarks)
    assert found.resistance.per_year.low < 0 < found.resistance.per_year.high


def test_ageing_at_changing_temperatures_is_told_apart_from_them():
    """Warm and cold by turns over two years, 10 % a year, and cold worth 1.3."""
    states = [
        replace(s, r_factor=s.r_factor * (1.3 if k % 2 else 1.0), temp_c=3.0 if k % 2 else 22.0)
        for k, s in enumerate(history(24, 0.0, 2.0, r_per_month=0.10 / 12))
    ]
    found = ageing(states)
    year = found.resistance.per_year
    assert year.low < 0.10 / 1.2 < year.high  # of the mean over both years and the cold, 1.2
    assert any("over 99 %, from 24 trips over 23 months" in r for r in found.remarks)


def test_the_temperature_s_part_follows_arrhenius():
    """No ageing, but 20 kJ/mol more than usual over 0 to 45 °C: the line in time stays flat."""
    temps_c = np.random.default_rng(4).permutation(np.linspace(0.0, 45.0, 24))
    inverse = 1 / (temps_c + 273.15) - 1 / 298.15
    # the fit's effect is relative to the mean, as a straight line of this
    factor = 1.0 + 20e3 / 8.314462618 * inverse
    states = [
        replace(s, r_factor=float(f), temp_c=float(c), r_factor_sd=0.003)
        for s, f, c in zip(history(24, 0.0, 2.0), factor, temps_c, strict=True)
    ]
    year = ageing(states).resistance.per_year
    assert abs(year.mid) < 0.002
    assert year.high - year.low < 0.01


def test_how_sure_a_trend_is_is_the_normal_distribution_s_share_on_its_side():
    rng = np.random.default_rng(5)
    states = [
        replace(s, capacity_ah=s.capacity_ah + 3.0 * rng.standard_normal())
        for s in history(18, 0.1, 3.0)
    ]
    found = ageing(states).capacity
    year = found.per_year
    z = -year.mid / ((year.high - year.low) / 2) * 1.2816  # an 80 % range: 1.2816 sd either way
    assert found.sureness_frac == pytest.approx(norm.cdf(z), abs=1e-4)


def test_fewer_than_four_trips_tell_neither_way():
    found = ageing(history(3, 0.5, 2.0))
    assert found.capacity.sureness_frac == 0.5
    assert not found.capacity.per_year.known


def test_a_trend_that_is_fairly_sure_says_how_sure():
    states = history(14, 0.0, 2.0, r_per_month=0.003)
    found = ageing(states)
    sure = found.resistance.sureness_frac
    assert 0.9 < sure < 0.99
    assert any(f"sure to {100 * sure:.0f} %" in r for r in found.remarks)
