"""Answers during a trip held against what then happened."""

import numpy as np
import pytest

from analyzer.pack.chemistry import chemistry
from analyzer.range.hindcast import (
    Asked,
    Before,
    hindcast,
    score,
)
from analyzer.series.series import Series
from tests.analyzer.hull.test_hull import boat


def row(low: float, mid: float, high: float, made: float | None) -> Asked:
    predicted = (low, mid, high) if made is not None else None
    return Asked(0.0, (low, mid, high), 0.5, predicted, made, 600.0)


def test_score_counts_what_held():
    # by hand: two of three held; errors 0, 1/6 and 0.5 of what was made
    rows = [row(8, 10, 12, 10), row(8, 10, 12, 12), row(8, 10, 12, 20), row(8, 10, 12, None)]
    found = score(rows)
    assert found.compared == 3
    assert found.held_frac == pytest.approx(2 / 3)
    assert found.error_frac == pytest.approx(1 / 6)
    assert found.width_frac == pytest.approx(0.4)


def test_score_without_anything_to_compare_says_so():
    assert "nothing to compare" in score([row(1, 2, 3, None)]).sentence


def motoring(seconds: int = 5400, kind: str = "lfp", cells: int = 16) -> Series:
    """An even trip of 1 kW at 2.2 m/s, from full."""
    n = seconds
    rng = np.random.default_rng(1)
    volts, soc, current = np.zeros(n), 0.98, np.zeros(n)
    table = np.linspace(0, 1, 201)
    rest_v = cells * np.asarray(chemistry(kind).ocv_v(table, hysteresis=-1.0))
    for k in range(n):
        rest = float(np.interp(soc, table, rest_v))
        current[k] = 1040.0 / (rest - 0.012 * 1040.0 / rest)
        volts[k] = rest - 0.012 * current[k]
        soc -= current[k] / 3600 / 200
    return Series(
        0,
        1.0,
        n,
        {
            "pack_voltage_v": volts + 0.01 * rng.standard_normal(n),
            "pack_current_a": current + 0.1 * rng.standard_normal(n),
            "hotel_power_w": np.full(n, 40.0),
            "speed_ground_mps": 2.2 + 0.05 * rng.standard_normal(n),
            "course_ground_deg": (80 + rng.standard_normal(n)) % 360,
            "shaft_speed_rps": np.full(n, 15.0),
        },
    )


def test_an_even_trip_is_foreseen():
    found = hindcast(motoring(), boat(), Before(), every_s=900.0)
    assert found.score.compared >= 3
    assert found.score.error_frac < 0.06
    assert all(r.held for r in found.rows if r.held is not None)


def test_a_pack_whose_voltage_falls_is_no_reason_to_be_off():
    nmc = {"chemistry": "nmc", "cells_in_series": 14}
    pack = boat().pack.model_copy(update=nmc)
    found = hindcast(
        motoring(kind="nmc", cells=14), boat().model_copy(update={"pack": pack}), Before(), 900.0
    )
    assert found.score.compared >= 3
    assert found.score.error_frac < 0.015


def test_only_the_past_is_used():
    """Cutting the log off after a moment changes nothing that was said before it."""
    whole = motoring()
    short = hindcast(whole.cut(0, 1900), boat(), Before(), every_s=900.0)
    long = hindcast(whole, boat(), Before(), every_s=900.0)
    for a, b in zip(short.rows, long.rows, strict=False):
        assert a.distance_m == pytest.approx(b.distance_m)


def test_lying_still_asks_nothing():
    series = motoring(2000)
    series.values["pack_current_a"][:] = 0.8
    assert hindcast(series, boat(), Before()).rows == ()


def test_score_of_a_boat_that_made_nothing_has_no_share_of_it():
    # predicted nothing and made nothing: held, and neither error nor width is a number
    nothing = Asked(0.0, (0.0, 0.0, 0.0), 0.2, (0.0, 0.0, 0.0), 0.0, 600.0)
    found = score([nothing])
    assert (found.compared, found.held_frac) == (1, 1.0)
    assert found.error_frac is None
    assert found.width_frac is None
    assert "off by" not in found.sentence
