"""Nonlinear least squares with a Gaussian prior, by damped linearisation.

Source: D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431, each step a linear least-squares
problem about the present iterate, damped by the largest curvature seen and no longer than the
iterate itself at first, so that a far start does not jump onto a flat (J. J. More, Lecture Notes in
Mathematics 630 (1978) 105). The library that has it too costs a second to load, which the short
answers cannot spend.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# At parameters (p,): rows (n, p) of the Jacobian, targets (n,), variance of each (n,). Linearised
# about them, so that the targets less rows @ parameters are the residuals there.
Linearised = Callable[[Floats], tuple[Floats, Floats, Floats]]

# Damping starts as Marquardt has it and goes by tens; its ends keep it a number. Common practice.
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-3, 1e-12, 1e12
MOST_TRIES = 12  # of one step; common practice, no source
LEAST_COST = 1e-300  # instead of a division by zero; assumed


@dataclass(frozen=True)
class Fit:
    """Where it settled.

    Args:
        mean: Shape (p,). precision: Inverse covariance there, (p, p).
        cost: Weighted sum of squares, the prior's included.
        settled: Whether it did.
    """

    mean: Floats
    precision: Floats
    cost: float
    settled: bool


@dataclass(frozen=True)
class _Iterate:
    """The problem linearised at some parameters: x (p,), rows (n, p), residual, weight (n,)."""

    x: Floats
    rows: Floats
    residual: Floats
    weight: Floats
    cost: float


@dataclass(frozen=True)
class _Problem:
    """What is minimised: |target - f(x)|² / var + (x - mean)' precision (x - mean)."""

    linearised: Linearised
    mean: Floats
    precision: Floats

    def at(self, x: Floats) -> _Iterate:
        """The problem linearised at x."""
        rows, target, var = self.linearised(x)
        residual = target - rows @ x
        apart = x - self.mean
        cost = float(np.sum(residual**2 / var) + apart @ self.precision @ apart)
        return _Iterate(x, rows, residual, 1 / var, cost)

    def curvature(self, now: _Iterate) -> Floats:
        """Half of the second derivative of the cost, Gauss-Newton: precision + J' W J, (p, p)."""
        return self.precision + (now.rows * now.weight[:, None]).T @ now.rows

    def descent(self, now: _Iterate) -> Floats:
        """Half of the cost's negative gradient: J' W residual - precision (x - mean), (p,)."""
        weighted = (now.rows * now.weight[:, None]).T
        return weighted @ now.residual - self.precision @ (now.x - self.mean)


@dataclass
class _Damping:
    """How far a step may trust the linear problem.

    Args:
        scale: Largest curvature seen in each parameter, (p,).
        reach: Longest step.
    """

    scale: Floats
    reach: float
    factor: float = FIRST_DAMPING

    def increase(self) -> None:
        """Ten times more, after a step that was too long or went uphill."""
        self.factor = min(self.factor * 10, MOST_DAMPING)

    def decrease(self) -> None:
        """Ten times less, after a step that went well."""
        self.factor = max(self.factor / 10, LEAST_DAMPING)


def solve(
    linearised: Linearised,
    before: Floats,
    base: Floats,
    *,
    start: Floats | None = None,
    rounds: int = 50,
    tolerance: float = 1e-10,
) -> Fit:
    """The parameters that fit best.

    Args:
        linearised: The problem about some parameters.
        before, base: The prior's mean (p,) and precision (p, p); zeros for none.
        start: First iterate; None: the prior's mean.
        rounds: At most so many steps.
        tolerance: Settled where a step changes the cost by less than this share.
    """
    problem = _Problem(linearised, before, base)
    now = problem.at(np.array(before if start is None else start, dtype=np.float64))
    reach = max(float(np.linalg.norm(now.x)), 1.0)
    damping = _Damping(np.full(len(now.x), LEAST_COST), reach)
    settled = False
    for _ in range(rounds):
        after = _step(problem, now, damping)
        if after is None:
            settled = True
            break
        if np.linalg.norm(after.x - now.x) > damping.reach / 2:
            damping.reach *= 2
        cost, now = now.cost, after
        if cost - now.cost <= tolerance * max(now.cost, LEAST_COST):
            settled = True
            break
    return Fit(now.x, problem.curvature(now), now.cost, settled)


def _step(problem: _Problem, now: _Iterate, damping: _Damping) -> _Iterate | None:
    """After a step no longer than allowed that does not raise the cost; None: none found.

    (curvature + factor diag(scale)) step = descent
    """
    curvature, descent = problem.curvature(now), problem.descent(now)
    damping.scale = np.maximum(damping.scale, np.diag(curvature))
    for _ in range(MOST_TRIES):
        damped = curvature + damping.factor * np.diag(damping.scale)
        step = np.asarray(np.linalg.solve(damped, descent), dtype=np.float64)
        if np.linalg.norm(step) > damping.reach:
            damping.increase()
            continue
        # A trial far off may overflow: that is a cost that is not finite, and no step.
        with np.errstate(all="ignore"):
            after = problem.at(now.x + step)
        if np.isfinite(after.cost) and after.cost <= now.cost:
            damping.decrease()
            return after
        damping.increase()
    return None
