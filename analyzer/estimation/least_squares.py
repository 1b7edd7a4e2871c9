"""Nonlinear least squares with a Gaussian prior, by damped linearisation.

Source: D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431, each step a linear least-squares
problem about the present guess, damped by the largest curvature seen and no longer than the guess
itself at first, so that a far start does not jump onto a flat (J. J. More, Lecture Notes in
Mathematics 630 (1978) 105). The library that has it too costs a second to load, which the short
answers cannot spend.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# At a guess (p,): rows (n, p), what they should give (n,), variance of each (n,). Linearised about
# the guess, so that "should give" less rows @ guess is what is left over there.
Linearised = Callable[[Floats], tuple[Floats, Floats, Floats]]

FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-3, 1e-12, 1e12
MOST_TRIES = 12  # of one step


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


def solve(
    linearised: Linearised,
    before: Floats,
    base: Floats,
    *,
    start: Floats | None = None,
    rounds: int = 50,
    tolerance: float = 1e-10,
) -> Fit:
    """The guess that fits best.

    Args:
        linearised: The problem about a guess.
        before, base: The prior's mean (p,) and precision (p, p); zeros for none.
        start: First guess; None: the prior's mean.
        rounds: At most so many steps.
        tolerance: Settled where a step changes the cost by less than this share.
    """
    at = np.array(before if start is None else start, dtype=np.float64)
    damping = FIRST_DAMPING
    reach = max(float(np.linalg.norm(at)), 1.0)
    rows, left, weight, cost = _left_over(linearised, at, before, base)
    settled = False
    curved = np.full(len(at), 1e-300)
    for _ in range(rounds):
        precision = base + (rows * weight[:, None]).T @ rows
        slope = (rows * weight[:, None]).T @ left - base @ (at - before)
        curved = np.maximum(curved, np.diag(precision))
        step, damping = _step(
            linearised, at, before, base, precision, slope, cost, damping, curved, reach
        )
        if step is None:
            settled = True
            break
        if np.linalg.norm(step) > reach / 2:
            reach *= 2
        gained = cost
        at = at + step
        rows, left, weight, cost = _left_over(linearised, at, before, base)
        if gained - cost <= tolerance * max(cost, 1e-300):
            settled = True
            break
    return Fit(at, base + (rows * weight[:, None]).T @ rows, cost, settled)


def _left_over(
    linearised: Linearised, at: Floats, before: Floats, base: Floats
) -> tuple[Floats, Floats, Floats, float]:
    """Rows, what is left over, weights and cost at a guess."""
    rows, target, var = linearised(at)
    left = target - rows @ at
    off = at - before
    cost = float(np.sum(left**2 / var) + off @ base @ off)
    return rows, left, 1 / var, cost


def _step(
    linearised: Linearised,
    at: Floats,
    before: Floats,
    base: Floats,
    precision: Floats,
    slope: Floats,
    cost: float,
    damping: float,
    curved: Floats,
    reach: float,
) -> tuple[Floats | None, float]:
    """A step no longer than `reach` that lowers the cost, and the next damping; None: none does."""
    for _ in range(MOST_TRIES):
        damped = precision + damping * np.diag(curved)
        step = np.asarray(np.linalg.solve(damped, slope), dtype=np.float64)
        if np.linalg.norm(step) > reach:
            damping = min(damping * 10, MOST_DAMPING)
            continue
        with np.errstate(all="ignore"):
            tried = _left_over(linearised, at + step, before, base)[3]
        if np.isfinite(tried) and tried <= cost:
            return step, max(damping / 10, LEAST_DAMPING)
        damping = min(damping * 10, MOST_DAMPING)
    return None, damping
