"""The curve's doubt: textbook identities of Gaussian processes, and what the label defines."""

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.chemistry import chemistry
from analyzer.pack.curves.doubt import GRID, KNOTS, alike, curve_cov_v2, doubt


def test_alike_falls_off_as_a_process_without_memory_does():
    # correlation over two steps is the product of those of each
    x = np.array([0.0, 0.2, 0.5])
    cov = alike(x, 1.0, 0.3)
    assert cov[0, 2] == approx(cov[0, 1] * cov[1, 2], rel=1e-6)
    assert cov[0, 1] == approx(np.exp(-0.2 / 0.3))


def test_a_mode_is_one_error_of_known_form():
    mode = 0.01 * (1 - GRID)
    extra = doubt(0.02, 0.2, mode) - doubt(0.02, 0.2)
    assert np.linalg.matrix_rank(extra, tol=1e-9) == 1
    assert np.sqrt(extra[0, 0]) == approx(0.01)


@pytest.mark.parametrize(("soc", "volts"), [(0.0, 3.0), (1.0, 4.2)])
def test_nmc_s_label_begins_and_ends_where_makers_count(soc, volts):
    """Data sheets: from 4.2 V down to 3.0 V."""
    assert chemistry("nmc").ocv_v(soc) == approx(volts, abs=0.005)


def test_a_curve_s_doubt_is_what_makes_share_what_one_has_of_its_own_and_its_knees():
    """Variances add; a level line has no knees, and where makes agree none has much of its own."""
    mode = 0.02 * np.sin(np.pi * GRID)
    shared_v = np.interp(KNOTS, GRID, mode)
    cov_v2 = curve_cov_v2(np.full(GRID.size, 3.3), 0.01, np.outer(shared_v, shared_v))
    var = np.diag(cov_v2)
    own_v = np.where(shared_v < 0.01, shared_v, 0.01)
    assert var == approx(shared_v**2 + own_v**2, abs=1e-8)
