"""How much resistance a joint has too much: against the lognormal's quantiles and Bayes' rule by
quadrature; boats with known truth are in `tests/field/test_cables_joints.py`."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm

from analyzer.thermal import joint_size
from analyzer.thermal.joints import joint
from analyzer.thermal.loop_resistance import Known
from logger.boat import Cable

Z80 = 1.2815515655446004  # the normal distribution's 90 % point
JOINT = joint(Cable(name="x", size_mm2=50, length_m=2))
SHARP = Known(1e-3, 1e-6)


def test_heat_tells_a_joint_within_a_factor_of_two():
    """30 K known exactly: the path's doubt is all, and its 80 % range is a factor of two."""
    rise_k = np.full(200_000, 30.0)
    ohm = joint_size.by_heat(JOINT, rise_k, 0.0, np.random.default_rng(1))
    said = joint_size.estimate(ohm, ())
    middle = 30.0 / JOINT.path_k_w / JOINT.ref_a**2
    assert said.mid == pytest.approx(middle, rel=0.01)
    assert said.high == pytest.approx(2 * middle, rel=0.02)
    assert said.low == pytest.approx(middle / 2, rel=0.02)


def test_what_a_sound_joint_makes_is_no_excess():
    ohm = joint_size.by_heat(JOINT, np.full(1000, 5.0), 50.0, np.random.default_rng(2))
    assert not ohm.any()


def heat(middle_ohm: float, seed: int, n: int = 100_000) -> np.ndarray:
    """Samples by heat: a factor of two in eight of ten."""
    sd = math.log(2) / Z80
    return middle_ohm * np.exp(sd * np.random.default_rng(seed).standard_normal(n))


@pytest.mark.parametrize("middle_ohm", [0.1e-3, 0.2e-3, 0.4e-3, 1e-3, 3e-3])
def test_whether_all_growth_is_this_joint_s_goes_by_bayes(middle_ohm):
    """Evidence of both hypotheses by quadrature, for a growth of 1 mohm that is known sharply."""
    by_heat = lognorm(s=math.log(2) / Z80, scale=middle_ohm)
    here = 0.9 * by_heat.pdf(1e-3)
    rest, _ = quad(lambda t: by_heat.pdf(t) * math.exp(-(1e-3 - t) / 1e-3) / 1e-3, 0, 1e-3,
                   points=[middle_ohm] if middle_ohm < 1e-3 else None)  # fmt: skip
    _, got = joint_size.by_drop(heat(middle_ohm, 3)[None], SHARP, np.random.default_rng(4))
    assert got == pytest.approx(here / (here + 0.1 * rest), abs=0.02)


def test_a_growth_that_is_the_joint_s_is_its_size():
    ohm, here = joint_size.by_drop(heat(2.4e-3, 5)[None], SHARP, np.random.default_rng(6))
    assert here > 0.9
    assert np.quantile(ohm, [0.1, 0.5]) == pytest.approx([1e-3, 1e-3], rel=0.01)


def test_a_growth_far_beyond_the_heat_is_not_all_the_joint_s():
    ohm, here = joint_size.by_drop(heat(0.1e-3, 7)[None], SHARP, np.random.default_rng(8))
    assert here < 0.01
    assert np.median(ohm) == pytest.approx(0.1e-3, rel=0.1)
    assert ohm.max() <= 1.01e-3


def test_two_joints_share_the_growth_as_heat_says():
    both = np.stack([heat(1e-3, 9), heat(0.5e-3, 10)])
    ohm, _ = joint_size.by_drop(both, SHARP, np.random.default_rng(11))
    share = both[0] / both.sum(axis=0)
    whole = np.isclose(ohm.sum(axis=0), 1e-3, rtol=0.01)
    assert whole.mean() > 0.8
    np.testing.assert_allclose((ohm[0] / ohm.sum(axis=0)), share, rtol=1e-9)
