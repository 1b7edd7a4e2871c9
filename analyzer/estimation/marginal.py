"""The Gaussian linear model with its coefficients marginalised (textbook: Bayesian regression)."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Marginal:
    """Of each cell and hypothesis.

    Args:
        found, sd: Of the coefficients, (cells, g, k).
        explained: By how much they lessen the chi-square, (cells, g).
        volume: Log of the prior's over the posterior's volume, twice, (cells, g).
    """

    found: Floats
    sd: Floats
    explained: Floats
    volume: Floats


def marginal(square: Floats, cross: Floats, prior_sd: Floats) -> Marginal:
    """From the normal equations.

    Args:
        square: Design by design, weighted, (g, k, k).
        cross: Design by residual, weighted, (g, k, cells).
        prior_sd: Of the coefficients about zero, (cells, g, k).
    """
    # Cells of one prior share all but what they showed.
    rows = [row.tobytes() for row in prior_sd]
    first = {row: cell for cell, row in reversed(list(enumerate(rows)))}
    unlike = sorted(first.values())
    of_cell = [unlike.index(first[row]) for row in rows]
    unlike_sd = prior_sd[unlike]
    unit = np.eye(prior_sd.shape[-1])
    precision = square + unlike_sd[..., None] ** -2.0 * unit
    covariance = np.linalg.inv(precision)
    prior_volume = 2 * np.log(unlike_sd).sum(axis=-1)
    volume = np.linalg.slogdet(precision)[1] + prior_volume
    variance = np.diagonal(covariance, axis1=-2, axis2=-1)
    target = cross.transpose(2, 0, 1)
    found = np.empty(prior_sd.shape)
    for prior in range(len(unlike)):
        alike = np.flatnonzero(np.equal(of_cell, prior))
        found[alike] = (covariance[prior] @ cross[..., alike]).transpose(2, 0, 1)
    explained = np.einsum("cgk,cgk->cg", target, found)
    return Marginal(found, np.sqrt(variance)[of_cell], explained, volume[of_cell])
