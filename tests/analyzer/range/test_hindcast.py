"""Answers during a trip held against what then happened."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.pack.counted_back import CountedBack
from analyzer.range.hindcast import (
    Asked,
    Before,
    hindcast,
    score,
)
from tests.support.even_trip import motoring
from tests.support.hull_boat import boat


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


def test_charges_are_scored_against_the_next_full_one():
    # by hand: of ranges 0.5 to 0.7, 0.3 to 0.5 and 0.1 to 0.3 the first two hold 0.55 and 0.36;
    # middles are off by 5, 4 and 30 points
    ranges = [(0.5, 0.6, 0.7), (0.3, 0.4, 0.5), (0.1, 0.2, 0.3)]
    rows = [
        replace(row(8, 10, 12, 10), charge_frac=said, charge_was_frac=was)
        for said, was in zip(ranges, (0.55, 0.36, 0.5), strict=True)
    ]
    found = score([*rows, row(8, 10, 12, 10)])
    assert found.charge_compared == 3
    assert found.charge_held_frac == pytest.approx(2 / 3)
    assert found.charge_error_frac == pytest.approx(0.05)
    assert "of 3 charges held against the next full one the range held 67 %" in found.sentence
    assert score([row(8, 10, 12, 10)]).charge_held_frac is None


def test_a_trip_is_held_against_the_charge_counted_back_from_full():
    # the trip gives 1,040 W of a 200 Ah pack, from 0.98: counted here by its own integral
    series = motoring()
    drawn_ah = np.cumsum(series.get("pack_current_a")) / 3600
    after = CountedBack(series.t0_us, 1.0, 0.98 - drawn_ah / 200, np.full(series.n, 0.01))
    found = hindcast(series, boat(), Before(after=after), every_s=900.0)
    assert found.score.charge_compared >= 3
    for asked in found.rows:
        k = round(asked.t_utc_s - series.t0_us / 1e6)
        assert asked.charge_was_frac == pytest.approx(after.soc_frac[min(k, series.n - 1)])


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


def test_a_yardstick_that_is_less_sure_than_the_charge_still_finds_eight_in_ten():
    """Answers and yardsticks drawn about the truth by their own errors (Monte Carlo)."""
    rng = np.random.default_rng(5)
    own_sd, was_sd, count = 0.01, 0.02, 4000
    truth = rng.uniform(0.3, 0.9, count)
    mid = truth + own_sd * rng.standard_normal(count)
    was = truth + was_sd * rng.standard_normal(count)
    half = 1.2816 * own_sd
    held = [
        replace(
            row(8, 10, 12, 10),
            charge_frac=(m - half, m, m + half),
            charge_was_frac=w,
            charge_was_sd=was_sd,
        ).charge_held
        for m, w in zip(mid.tolist(), was.tolist(), strict=True)
    ]
    assert 0.78 < np.mean(held) < 0.82  # 0.8, three standard deviations of 4000
