"""What stands beside "how far": when the sails are spoken of, and as of when."""

from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.answers import beside_range
from analyzer.answers.log_file import as_of
from analyzer.range.monte_carlo import Now
from tests.support.invented_answers import RANGE
from tests.support.range_inputs import cubic_curve, range_input

SPEEDS = np.array([1.0, 2.0, 3.0])


@pytest.mark.parametrize(("share", "told"), [(0.45, False), (0.55, True)])
def test_sails_are_spoken_of_where_they_are_likelier_than_not(monkeypatch, share, told):
    now = Now(2.0, 0.0, 600.0)
    curve = cubic_curve(spread=0.1, leg_sd=0.1)
    given = range_input(n=100, curve=curve, now=now, speeds_mps=SPEEDS, as_now=1, sails_frac=0.1)
    sailed = np.arange(100) < round(100 * share)
    drawn = SimpleNamespace(draws=SimpleNamespace(sailed=sailed))
    monkeypatch.setattr(beside_range, "sample", lambda _: drawn)
    answer = beside_range.with_sails(RANGE, given, 1)
    assert answer.sails_frac == pytest.approx(share)
    assert (answer.without_sails is not None) == told


def test_an_answer_speaks_of_the_newest_reading():
    log = SimpleNamespace(span=lambda: (1_000_000_000, 9_000_000_000), age_s=lambda: 7.0)
    answer = as_of(log, RANGE)
    assert answer.asked_utc_s == pytest.approx(9000.0, abs=1e-3)
    assert answer.data_age_s == 7.0
    nothing = SimpleNamespace(span=lambda: None)
    assert as_of(nothing, RANGE) is RANGE
