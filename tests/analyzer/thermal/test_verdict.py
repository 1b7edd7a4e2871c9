"""When a warm lug counts as a faulty one. The excesses are NETA's, table 100.18 (reference values,
1.5): 4 K above a like part, 11 K above what the air alone tells, each and a little more.
"""

import math

import pytest

from analyzer.thermal.verdict import EXCESS_ALONE_K, EXCESS_K, Verdict


def test_the_published_excesses_are_kept():
    assert 4.0 <= EXCESS_K <= 5.0
    assert EXCESS_ALONE_K == 11.0


def test_what_a_first_belief_allows_is_left_by_more_than_what_readings_showed():
    load = 0.5
    verdict = Verdict(math.inf, EXCESS_ALONE_K)
    first = verdict.level_k(4.0, 3.0, load)  # nothing read: belief and its doubt
    assert first == pytest.approx(1.2 * 7.0 + 11.0 / load)
    assert verdict.level_k(12.0, 2.0, load) == first  # still not known by readings
    known = verdict.level_k(5.0, 0.5, load)
    assert known == pytest.approx(1.2 * 5.5 + 5.0 / load)
    # From then on it is held against what it was, however warm it gets.
    assert verdict.level_k(30.0, 0.5, load) == known


def test_like_parts_are_held_against_each_other_from_the_first():
    assert Verdict(math.inf).level_k(0.0, 2.0, 0.5) == pytest.approx(1.2 * 2.0 + 5.0 / 0.5)


def test_no_place_is_healthy_beyond_what_any_is():
    assert Verdict(20.0, EXCESS_ALONE_K).level_k(18.0, 15.0, 1.0) == pytest.approx(20.0 + 5.0)


def test_a_fault_is_told_once_it_was_sure_for_a_minute_without_a_break():
    verdict = Verdict(20.0)
    told = []
    for sure in [0.98] * 5 + [0.97] + [0.98] * 6:
        verdict.judge(sure, 10.0)
        told.append(verdict.faulty)
    assert told == [False] * 11 + [True]
