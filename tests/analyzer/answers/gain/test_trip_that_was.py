"""The trip that was: draws of the pack that what was measured rules out are none."""

import numpy as np
import pytest

from analyzer.answers.gain.trip_that_was import DRAWS, _measured
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from tests.support.range_inputs import question


def test_draws_that_would_have_been_empty_are_left_out():
    """The boat was back at 40 %: of half the draws at 40 % and half at 0 %, the first remain."""
    was = np.where(np.arange(DRAWS) % 2 == 0, 0.40, 0.0)
    _, pick = _measured(Estimate(0.40, 0.37, 0.43, "frac"), was, question(n=DRAWS))
    assert np.all(was[pick] == 0.40)


def test_the_measured_charge_is_drawn_as_it_is_told():
    end = Estimate(0.40, 0.40 - Z80 * 0.03, 0.40 + Z80 * 0.03, "frac")
    drawn, _ = _measured(end, np.full(DRAWS, 0.4), question(n=DRAWS))
    assert drawn.mean() == pytest.approx(0.40, abs=0.006)  # 3 sd of a mean of 300
    assert drawn.std() == pytest.approx(0.03, rel=0.13)  # 3 sd of a spread of 300
