"""Fit of all hypotheses about a trip's circuit, and how likely each is.

With y the whitened voltage less the rest curve, X the whitened columns of one hypothesis and
u = (ln R0, ln R1, ln R2, ln g, c, b) with prior mean m and precision P, the fit minimises

    J(u) = |y - X·theta(u)|² + (u - m)'P(u - m),      theta = (exp u1..u4, u5...)

by Gauss-Newton, all hypotheses side by side. The readings are needed once only, for the products
X'X and X'y. A hypothesis' weight is its marginal likelihood by Laplace's approximation
(D. MacKay, Neural Computation 4 (1992) 415, from memory):

    ln w = -J/(2 s) - ln det(H)/2 + ln prior - misfit/2

H = D X'X D + P with the Jacobian D = d theta/du, s the residual's scale.
"""

from dataclasses import dataclass

import numpy as np

from analyzer.series.series import Floats, Ints
from analyzer.trips.sag_design import CIRCUIT, Design, Hypothesis
from analyzer.trips.sag_prior import CircuitPrior

# What eight leave to do is a fiftieth of the fit's own standard deviation, measured in the tests.
NEWTON_STEPS = 8
LONGEST_STEP = 1.0  # of a logarithm in one step: a factor of e; assumed
LEAST_WEIGHT = 1e-3  # of the likeliest hypothesis, below which one is dropped; assumed
BATCH = 400  # hypotheses fitted side by side, to fit a small board's memory; assumed


@dataclass(frozen=True)
class Fits:
    """The hypotheses that matter.

    Args:
        weight: Of each, (f,), together 1.
        theta, cov: Parameters R0, R1, R2, g, c, b and their covariance, (f, p), (f, p, p).
    """

    hypotheses: tuple[Hypothesis, ...]
    weight: Floats
    theta: Floats
    cov: Floats

    def moments(self, rows: Floats, constant: Floats | float = 0.0) -> tuple[Floats, Floats]:
        """Mean and covariance of linear functions of the parameters, over all hypotheses.

        Cov = sum of w·(h·cov·h' + d·d'), d how far a hypothesis' mean lies off the whole's.

        Args:
            rows: The functions h of each hypothesis, (f, t, p). constant: What is added, (t,).
        """
        means = np.einsum("ftp,fp->ft", rows, self.theta) + constant
        mean = self.weight @ means
        # Law of total variance: within a hypothesis, and between them.
        within = np.einsum("ftp,fpq,fuq->ftu", rows, self.cov, rows)
        off = means - mean
        between = off[:, :, None] * off[:, None, :]
        cov = np.einsum("f,ftu->tu", self.weight, within + between)
        return mean, np.asarray(cov)


@dataclass(frozen=True)
class _Equations:
    """Normal equations of some hypotheses: X'X (f, p, p), X'y (f, p), prior m (f, p), P (p, p)."""

    products: Floats
    right: Floats
    mean: Floats
    precision: Floats


@dataclass(frozen=True)
class _Solution:
    """theta and D's diagonal, (f, p); J less y'y, and ln det H, (f,)."""

    theta: Floats
    jacobian: Floats
    cost: Floats
    log_det: Floats


def fit(
    design: Design,
    white: Floats,
    prior: CircuitPrior,
    precision: Floats,
) -> Fits:
    """Fits every hypothesis and weighs them.

    Args:
        white: Whitened columns of the design matrix, and as the last one the voltage.
        precision: Of the prior over all parameters, (p, p).
    """
    # Each hypothesis' X'X is a part of the same table: the readings are gone through once.
    gram = white.T @ white
    at = np.array([design.columns(h) for h in design.hypotheses])

    def equations(which: Ints) -> _Equations:
        columns = at[which]
        # The curve's error is expected to be zero; only the circuit has a mean of its own.
        mean = np.zeros(columns.shape)
        mean[:, :CIRCUIT] = prior.log_mean[which]
        return _Equations(
            products=gram[columns[:, :, None], columns[:, None, :]],
            right=gram[columns, -1],
            mean=mean,
            precision=precision,
        )

    batches = np.split(np.arange(len(at)), range(BATCH, len(at), BATCH))
    solutions = [_solved(equations(which)) for which in batches]
    cost = np.concatenate([some.cost for some in solutions]) + gram[-1, -1]
    log_det = np.concatenate([some.log_det for some in solutions])
    # Where even the best leaves more than the noise said, all errors are that much larger.
    scale = max(float(cost.min()) / len(white), 1.0)
    weight = _weights(design, cost / scale + log_det + prior.misfit)
    keep = np.flatnonzero(weight > LEAST_WEIGHT)
    # Solved once more, as the first pass threw its matrices away; those left are few.
    kept = equations(keep)
    best = _solved(kept)
    return Fits(
        hypotheses=tuple(design.hypotheses[k] for k in keep),
        weight=weight[keep] / weight[keep].sum(),
        theta=best.theta,
        cov=scale * _covariance(kept, best),
    )


def _weights(design: Design, deviance: Floats) -> Floats:
    """Of each hypothesis over the likeliest one's, (f,).

    Args:
        deviance: Minus twice the logarithm of the marginal likelihood, (f,).
    """
    log_prior = np.array([h.circuit.log_prior for h in design.hypotheses])
    log_weight = log_prior - 0.5 * deviance
    # The largest is taken out first, as these logarithms are far below what exp can hold.
    return np.asarray(np.exp(log_weight - log_weight.max()))


def _parameters(u: Floats) -> tuple[Floats, Floats]:
    """theta(u) and the diagonal of its Jacobian, both (f, p)."""
    circuit = np.exp(u[:, :CIRCUIT])
    theta, jacobian = u.copy(), np.ones(u.shape)
    theta[:, :CIRCUIT] = circuit
    jacobian[:, :CIRCUIT] = circuit  # the derivative of exp u is exp u
    return theta, jacobian


def _hessian(eq: _Equations, jacobian: Floats) -> Floats:
    """Half of J's second derivative, Gauss-Newton's: D X'X D + P, (f, p, p)."""
    both = jacobian[:, :, None] * jacobian[:, None, :]
    return eq.products * both + eq.precision


def _solved(eq: _Equations) -> _Solution:
    """Minimum of J for each hypothesis, in a fixed number of Gauss-Newton steps."""
    u = eq.mean.copy()
    for _ in range(NEWTON_STEPS):
        theta, jacobian = _parameters(u)
        misfit = eq.right - np.einsum("fpq,fq->fp", eq.products, theta)
        pull = (u - eq.mean) @ eq.precision
        downhill = jacobian * misfit - pull
        step = np.linalg.solve(_hessian(eq, jacobian), downhill[:, :, None])[:, :, 0]
        # Far from the minimum a step in logarithms may overshoot to absurd resistances.
        circuit = step[:, :CIRCUIT]
        np.clip(circuit, -LONGEST_STEP, LONGEST_STEP, out=circuit)
        u = u + step
    theta, jacobian = _parameters(u)
    off = u - eq.mean
    cost = np.einsum("fp,fpq,fq->f", theta, eq.products, theta)
    cost -= 2 * np.einsum("fp,fp->f", theta, eq.right)
    cost += np.einsum("fp,pq,fq->f", off, eq.precision, off)
    # slogdet, as the determinant itself overflows with this many parameters.
    log_det = np.linalg.slogdet(_hessian(eq, jacobian))[1]
    return _Solution(theta, jacobian, cost, np.asarray(log_det))


def _covariance(eq: _Equations, at: _Solution) -> Floats:
    """Of theta rather than u: the inverse of D⁻¹ H D⁻¹ = X'X + D⁻¹ P D⁻¹, (f, p, p)."""
    both = at.jacobian[:, :, None] * at.jacobian[:, None, :]
    return np.asarray(np.linalg.inv(eq.products + eq.precision / both))
