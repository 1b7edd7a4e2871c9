"""A stretch of the past with another boat, against sums that can be done by hand."""

import numpy as np
import pytest

from analyzer.range.sample import sample
from analyzer.range.what_if import changes
from analyzer.range.what_if.past import Past, changed_w, charge_over
from tests.support.range_inputs import question

STEP_S = 60.0


def past(pack_w, drive_w=0.0, speed_mps=2.0):
    steps = np.ones(60)
    return Past(pack_w * steps, drive_w * steps, speed_mps * steps, STEP_S)


def test_an_hour_takes_its_watt_hours():
    """100 Ah of 16 cells near 3.3 V: an hour of 1056 W is 20 Ah, a fifth; iron phosphate lies
    between 3.2 and 3.4 V (makers' sheets)."""
    given = question(n=50)
    soc = charge_over(sample(given).pack, np.full((50, 60), 1056.0), STEP_S)
    used = sample(given).pack.soc - soc[:, -1]
    assert np.all((used > 0.19) & (used < 0.21))


def test_what_is_put_back_comes_back():
    pack = sample(question(n=50)).pack
    out_and_in = np.concatenate([np.full((50, 30), 500.0), np.full((50, 30), -500.0)], axis=1)
    soc = charge_over(pack, out_and_in, STEP_S)
    assert soc[:, -1] == pytest.approx(pack.soc, abs=0.01)


def test_nothing_changed_is_nothing():
    drawn = sample(question(n=50))
    found = changed_w(past(800.0, 700.0), drawn, drawn, question().curve, np.zeros((50, 1)))
    assert found == pytest.approx(800.0)


def test_a_load_and_the_sun_are_added():
    given = question(n=50, hotel_w=(60.0, 0.0))
    before, after = sample(given), sample(changes.hotel_load(given, 20.0))
    found = changed_w(past(800.0, 700.0), before, after, given.curve, np.full((50, 1), 30.0))
    assert found == pytest.approx(800.0 - 40.0 - 30.0)


def test_only_the_drive_s_part_follows_the_power_curve():
    """A tenth less at every speed: of the 700 W of the drive, not of the 800 W of the pack."""
    given = question(n=50)

    def tenth_less(given, drawn):
        change = np.full(drawn.draws.log_power.shape, np.log(0.9))
        return changes.with_power(given, drawn, change)

    before, after = sample(given), sample(changes.after(given, tenth_less))
    found = changed_w(past(800.0, 700.0), before, after, given.curve, np.zeros((50, 1)))
    assert found == pytest.approx(730.0)


def test_what_the_propeller_gives_back_stays():
    given = question(n=50)
    before, after = sample(given), sample(changes.better_path(given, (0.01, 0.0)))
    found = changed_w(past(-50.0, -80.0), before, after, given.curve, np.zeros((50, 1)))
    assert found == pytest.approx(-50.0)


def test_a_step_that_was_not_read_takes_nothing():
    given = question(n=50)
    drawn = sample(given)
    lost = Past(np.full(5, np.nan), np.zeros(5), np.full(5, np.nan), STEP_S)
    found = changed_w(lost, drawn, drawn, given.curve, np.zeros((50, 1)))
    assert found == pytest.approx(0.0)
