"""Rest curves: their mean, and a doubt that holds each of them."""

import numpy as np
import pytest

from analyzer.pack.lead_acid_rest import PUBLISHED, published_v, rest_modes_v, rest_v

SOC = np.linspace(0, 1, 41)


@pytest.mark.parametrize("kind", PUBLISHED)
def test_every_curve_rises(kind):
    assert (np.diff(published_v(kind, SOC), axis=1) > 0).all()


@pytest.mark.parametrize("kind", PUBLISHED)
def test_the_doubt_is_a_further_curve_s_predictive_covariance(kind):
    """Sample covariance times 1 + 1/m, of numpy: a further draw about the mean of m."""
    curves = published_v(kind, SOC)
    level_sd, modes = rest_modes_v(kind, SOC)
    off = curves - curves.mean(axis=0)
    form = off - off.mean(axis=1, keepdims=True)
    factor = 1 + 1 / len(curves)
    assert modes.T @ modes == pytest.approx(factor * np.cov(form.T), abs=1e-12)
    assert level_sd**2 == pytest.approx(factor * np.var(curves.mean(axis=1), ddof=1))


def test_flooded_curve_at_the_bottom_is_that_of_density_tables():
    """A public density table has 1.120 kg/l at 0 %, so 1.965 V by the trade's rule."""
    assert rest_v("lead_acid", np.array([0.0]))[0] == pytest.approx(1.965, abs=0.04)


@pytest.mark.parametrize("kind", PUBLISHED)
def test_makers_differ_by_what_is_known_of_them(kind):
    """0.3 to 0.5 V a block between makers: the widest distance is at least 0.1 and at most 0.6."""
    spread = 6 * np.ptp(published_v(kind, SOC), axis=0)
    assert 0.1 < spread.max() < 0.6
