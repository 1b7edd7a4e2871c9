"""Ageing from kept states, on invented histories."""

from dataclasses import replace

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
