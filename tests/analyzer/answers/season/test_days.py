"""A day's consumption taken apart: textbook logarithms of a product, by hand."""

import math

import pytest

from analyzer.answers.season.days import _Day, _Parts, _reasons


def day(far_m=10_000.0, speed=None, stream=None, growth=None):
    return _Day((), 0.0, far_m, _Parts(2.5, speed, stream, growth))


def shares(found):
    return {one.kind: one.share.mid for one in found}


def test_parts_and_rest_multiply_to_the_day():
    other = day(speed=(0.0, 0.0), stream=(0.0, 0.0), growth=(0.0, 0.0))
    mine = day(speed=(0.2, 0.0), stream=(0.3, 0.0), growth=(-0.1, 0.0))
    whole = math.log(1.5)
    found = shares(_reasons(mine, [mine, other], whole))
    # the season's mean is half of each part, by equal miles
    assert found["speed"] == pytest.approx(math.expm1(0.1))
    assert found["stream"] == pytest.approx(math.expm1(0.15))
    assert found["growth"] == pytest.approx(math.expm1(-0.05))
    product = math.prod(1 + share for share in found.values())
    assert product == pytest.approx(1.5)


def test_the_season_s_mean_is_by_miles():
    other = day(far_m=30_000.0, speed=(0.0, 0.0))
    mine = day(speed=(0.4, 0.0))
    assert shares(_reasons(mine, [mine, other], 0.3))["speed"] == pytest.approx(math.expm1(0.3))


def test_what_may_be_nothing_is_no_reason():
    other = day(stream=(0.0, 0.2))
    mine = day(stream=(0.2, 0.2))
    assert "stream" not in shares(_reasons(mine, [mine, other], 0.1))


def test_what_is_not_known_is_never_a_reason():
    found = _reasons(day(), [day(), day()], 0.2)
    assert [one.kind for one in found] == ["unexplained"]
    assert "the stream, which the log did not tell apart" in found[0].text


def test_words_say_which_way():
    other = day(speed=(0.0, 0.0), stream=(0.0, 0.0))
    mine = day(speed=(-0.4, 0.0), stream=(0.4, 0.0))
    texts = [one.text for one in _reasons(mine, [mine, other], 0.0)]
    assert any(text.startswith("slower through the water") for text in texts)
    assert "the stream set against it" in texts
