"""Rest curves: their mean, and a doubt that holds each of them."""

import numpy as np
import pytest
from scipy.stats import t as student_t

from analyzer.pack.chemistry import chemistry
from analyzer.pack.lead_acid.rest import published_curves, published_v, rest_modes_v, rest_v

SOC = np.linspace(0, 1, 41)
KINDS = ("lead_acid", "agm", "gel")


@pytest.mark.parametrize("kind", KINDS)
def test_every_curve_rises(kind):
    assert (np.diff(published_v(kind, SOC), axis=1) > 0).all()


def test_the_doubt_is_a_further_curve_s_predictive_covariance():
    """Of m curves: numpy's covariance times 1 + 1/m, times scipy's variance of Student's t."""
    curves = published_v("lead_acid", SOC)
    level_sd, modes = rest_modes_v("lead_acid", SOC)
    form = curves - curves.mean(axis=1, keepdims=True)
    factor = (1 + 1 / len(curves)) * student_t(len(curves) - 1).var()
    assert modes.T @ modes == pytest.approx(factor * np.cov(form.T), abs=1e-12)
    assert level_sd**2 == pytest.approx(factor * np.var(curves.mean(axis=1), ddof=1))


def test_sealed_kinds_pool_what_they_lie_off_their_own_means():
    off = np.concatenate([(c := published_v(k, SOC)) - c.mean(axis=0) for k in ("agm", "gel")])
    free = len(off) - 2
    for kind in ("agm", "gel"):
        level_sd, modes = rest_modes_v(kind, SOC)
        factor = (1 + 1 / len(published_curves()[kind])) * student_t(free).var() / free
        whole = modes.T @ modes + level_sd**2  # level and form apart: their cross terms left out
        assert np.trace(whole) == pytest.approx(factor * np.sum(off**2), rel=1e-9)


def test_a_chemistry_s_curve_is_the_mean_of_its_kind():
    for kind in KINDS:
        assert chemistry(kind).ocv_v(SOC) == pytest.approx(rest_v(kind, SOC), abs=1e-9)
    # a glass-mat block at half charge would be taken for one fuller if it were flooded
    assert chemistry("lead_acid").soc_at(12.3 / 6) > chemistry("agm").soc_at(12.3 / 6) + 0.1


def test_flooded_curve_at_the_bottom_is_that_of_density_tables():
    """A public density table has 1.120 kg/l at 0 %, so 1.965 V by the trade's rule."""
    assert rest_v("lead_acid", np.array([0.0]))[0] == pytest.approx(1.965, abs=0.04)


@pytest.mark.parametrize("kind", KINDS)
def test_makers_differ_by_what_is_known_of_them(kind):
    """0.3 to 0.5 V a block between makers: the widest distance is at least 0.1 and at most 0.6."""
    spread = 6 * np.ptp(published_v(kind, SOC), axis=0)
    assert 0.1 < spread.max() < 0.6
