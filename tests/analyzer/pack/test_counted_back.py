"""Charge counted back from the next full one, against a pack whose charge is known."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.pack.chemistry import chemistry
from analyzer.pack.counted_back import counted_back
from analyzer.pack.soc import known
from analyzer.series.series import Series
from tests.support.hull_boat import boat

AH, HOUR = 200.0, 3600


def trip_and_charge(offset_a: float = 0.0) -> tuple[Series, np.ndarray]:
    """Two hours at 30 A from 90 %, then charging at 40 A until full; and the true charge."""
    share = chemistry("lfp").charge_efficiency
    charging = round((0.1 + 60 / AH) * AH / (40 * share) * HOUR)
    amps = np.concatenate([np.full(2 * HOUR, 30.0), np.full(charging, -40.0)])
    stored = np.where(amps < 0, amps * share, amps)
    soc = 0.9 - (np.cumsum(stored) - stored) / HOUR / AH
    values = {
        "pack_current_a": amps + offset_a,
        "pack_voltage_v": 16 * (3.28 - 0.0004 * amps),
        "pack_temp_c": np.full(len(amps), 25.0),
    }
    return Series(1_000_000, 1.0, len(amps), values), soc


def at_full(**changes):
    """What is known of the pack once it is full."""
    state = known(boat().pack, 1.0, 0.01)
    fixed = {"offset_a": 0.0, "offset_sd_a": 0.0, "capacity_ah": AH, "capacity_sd_ah": 0.0}
    return replace(state, **fixed | changes)


def test_charge_at_any_time_is_what_was_true():
    series, soc = trip_and_charge()
    found = counted_back(series, boat().pack, at_full())
    for second in (0, 3_000, 7_200, 9_000):
        mid, sd = found.at(1_000_000 + second * 1_000_000)
        assert mid == pytest.approx(soc[second], abs=2e-3)
        assert sd == pytest.approx(0.01, abs=2e-3)


def test_the_shunts_offset_as_known_by_then_is_taken_off():
    series, soc = trip_and_charge(offset_a=0.8)
    found = counted_back(series, boat().pack, at_full(offset_a=0.8))
    assert found.at(1_000_000)[0] == pytest.approx(soc[0], abs=2e-3)


def test_its_doubt_is_that_of_capacity_and_offset():
    # by hand: 10 % of the charge lack at the beginning, 40 % when the charger comes on; capacity
    # known to 5 %: 0.5 and 2 points; offset known to 0.5 A over some 4 h of 200 Ah: 1 point
    series, _ = trip_and_charge()
    hours = series.n / HOUR
    found = counted_back(series, boat().pack, at_full(capacity_sd_ah=0.05 * AH, offset_sd_a=0.5))
    want = np.sqrt(0.01**2 + (0.05 * 0.1) ** 2 + (0.5 * hours / AH) ** 2)
    assert found.at(1_000_000)[1] == pytest.approx(want, rel=0.05)
    deep = np.sqrt(0.01**2 + (0.05 * 0.4) ** 2 + (0.5 * (hours - 2) / AH) ** 2)
    assert found.at(1_000_000 + 7_200_000_000)[1] == pytest.approx(deep, rel=0.05)


def test_what_is_not_known_well_enough_is_no_measure():
    series, _ = trip_and_charge()
    found = counted_back(series, boat().pack, at_full(capacity_sd_ah=0.2 * AH))
    assert found.at(1_000_000) is not None  # 2 points
    assert found.at(1_000_000 + 7_200_000_000) is None  # 8 points
    assert found.at(0) is None  # before it
    nmc = boat().pack.model_copy(update={"chemistry": "nmc", "cells_in_series": 14})
    assert counted_back(series, nmc, at_full()) is None  # often charged to 85 % on purpose
