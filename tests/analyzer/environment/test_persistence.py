"""Processes that forget, against their covariance summed over small steps and against a walk."""

import numpy as np
import pytest

from analyzer.environment import persistence


def test_what_is_kept_and_new_make_up_one_process():
    share = np.array([0.0, 0.1, 1.0, 30.0])
    kept, new = persistence.later(share)
    np.testing.assert_allclose(kept**2 + new**2, 1.0)
    assert kept[0] == 1.0
    assert kept[-1] < 1e-12


@pytest.mark.parametrize("share", [1e-3, 0.3, 2.0, 12.0])
def test_the_mean_until_a_time_is_the_mean_of_a_walk(share):
    # by sums over 1500 steps: E(mean | now) and its variance by cov(s, t) = e^-|s-t| - e^-(s+t)
    t = (np.arange(1500) + 0.5) * share / 1500
    kept, new = persistence.mean_until(np.array(share))
    assert kept == pytest.approx(np.exp(-t).mean(), rel=1e-4)
    variance = np.mean(np.exp(-abs(t[:, None] - t)) - np.exp(-(t[:, None] + t)))
    assert new == pytest.approx(np.sqrt(variance), rel=2e-3)


def test_over_no_time_nothing_has_changed():
    kept, new = persistence.mean_until(np.zeros(3))
    np.testing.assert_allclose(kept, 1.0, atol=1e-5)
    np.testing.assert_allclose(new, 0.0, atol=2e-3)
