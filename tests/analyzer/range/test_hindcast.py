"""Answers during a trip held against what then happened."""

import pytest

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
