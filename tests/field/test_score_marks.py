"""The marks themselves, by hand sums and by brute force."""

import math

import numpy as np
import pytest
from pytest import approx

from tests.boats.kind_days import Record
from tests.field.score_causes import parts
from tests.field.score_log import Counter
from tests.field.score_marks import crps, held, summary, winkler


def answer(true, far, **more):
    return {
        "kind": "invented", "number": 1, "true_far": true, "far": far, "oracle": far,
        "counting": None, "soc": (0.4, 0.5, 0.6), "true_soc": 0.5, "reserve": 0.2,
        "capacity_ah": 100.0, "true_ah": 100.0,
    } | more  # fmt: skip


@pytest.mark.parametrize(("truth", "expected"), [(10, 4), (13, 14), (7, 14), (12, 4)])
def test_interval_score_by_hand(truth, expected):
    # Width 4; ten times what lies outside 8 to 12.
    assert winkler(truth, 8, 12) == approx(expected)


def test_crps_by_hand():
    # Truth 11 on (8, 10, 12): pinball 0.1 * 3, 0.5 * 1, 0.1 * 1; 2 (0.3 * 0.3 + 0.4 * 0.5
    # + 0.3 * 0.1).
    assert crps(11, (8, 10, 12)) == approx(0.64)


def test_crps_is_least_on_average_for_true_quantiles():
    # A proper score: over many draws nothing beats the truth's own quantiles.
    truth = np.random.default_rng(1).normal(0, 1, 4000)
    z = 1.2815515655446004

    def mean(shift, wide):
        return np.mean([crps(x, (shift - wide * z, shift, shift + wide * z)) for x in truth])

    best = mean(0.0, 1.0)
    assert all(best < mean(s, w) for s, w in ((0.3, 1.0), (-0.3, 1.0), (0.0, 1.5), (0.0, 0.6)))
    # Of a standard normal forecast of itself the expected CRPS is 1 / sqrt(pi) = 0.5642
    # (Gneiting and Raftery 2007); three quantiles give it to a tenth.
    assert best == approx(1 / math.sqrt(math.pi), rel=0.1)


def test_interval_score_is_least_on_average_for_the_true_range():
    truth = np.random.default_rng(2).normal(0, 1, 4000)
    means = {w: np.mean([winkler(x, -w, w) for x in truth]) for w in (0.8, 1.2816, 1.8)}
    assert min(means, key=means.get) == 1.2816


def test_summary_counts_sides_and_silence():
    rows = [
        answer(10, (8, 10, 12)), answer(10, (11, 12, 13)), answer(10, (5, 6, 7)),
        answer(10, None),
    ]  # fmt: skip
    s = summary(rows)
    assert (s["held"], s["below"], s["above"]) == approx((1 / 3, 1 / 3, 1 / 3))
    assert (s["asked"], s["silent"]) == (4, 1)
    assert s["off"] == approx(0.2)
    assert s["over_oracle"] == approx(1.0)
    assert held(rows[0])
    assert not held(rows[1])


def test_parts_of_an_error_add_up_to_it():
    row = answer(10, (8, 15, 20), soc=(0.5, 0.6, 0.7), capacity_ah=110.0)
    p = parts(row)
    assert p["charge"] == approx(math.log(0.4 / 0.3))
    assert p["capacity"] == approx(math.log(1.1))
    assert p["charge"] + p["capacity"] + p["mile"] == approx(math.log(1.5))


def test_counting_by_hand():
    # 100 Ah label, reserve 20 %; 20 A at 50 V for an hour over 3600 m: 1000 Wh; left 60 Ah at
    # 50 V are 3000 Wh: 10800 m.
    counter = Counter(100.0, 0.2, True)
    n = 1800
    channels = {
        "pack_voltage_v": np.full(n, 50.0), "pack_current_a": np.full(n, 20.0),
        "speed_ground_mps": np.full(n, 1.0),
    }  # fmt: skip
    counter.see(Record("boot", 0.0, 2.0, None, channels, False))
    assert counter.range_m() == approx((8100.0, 10800.0, 13500.0))
    charge = channels | {"pack_current_a": np.full(n, -2.0)}
    counter.see(Record("boot", 3600.0, 2.0, None, charge, True))
    assert counter.used_ah == 0.0
