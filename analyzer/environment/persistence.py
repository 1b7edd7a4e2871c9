"""Processes that forget: what of now is left later, and how much of what is new has come.

An Ornstein-Uhlenbeck process x of unit size and memory T, known now: cov(x(s), x(t)) =
exp(-|s - t| / T). Its value, and its mean over a time from now, are each kept * x(now) +
new * z, z a standard normal variate that does not depend on x(now).

Source: G. E. Uhlenbeck and L. S. Ornstein, Phys. Rev. 36 (1930) 823.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

LEAST_SHARE = 1e-6  # of the memory: no time is shorter, as it divides; assumed


def later(share: Floats) -> tuple[Floats, Floats]:
    """(kept, new) of the value after a time, shapes of `share`.

    Args:
        share: The time over the memory, 0 and more.
    """
    kept = np.exp(-share)
    return kept, np.sqrt(1 - np.square(kept))


def mean_until(share: Floats) -> tuple[Floats, Floats]:
    """(kept, new) of the mean over a time that begins now, shapes of `share`.

    With a the time over the memory: kept = (1 - exp(-a)) / a, and the variance of what is new is
    2 / a (1 - kept) - kept^2.
    """
    share = np.maximum(share, LEAST_SHARE)
    kept = -np.expm1(-share) / share
    variance = 2 / share * (1 - kept) - np.square(kept)
    return kept, np.sqrt(np.maximum(variance, 0.0))
