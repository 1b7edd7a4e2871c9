"""Numbers as whole steps of a quantum, and back: how the log keeps a value and gives it back."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from logger.reading import Quantum

Q_LIMIT = 2**50  # beyond, value / step may not round back to the same integer: by definition of f64


@lru_cache(maxsize=4096)
def whole_inverse(step: float) -> int | None:
    """n where step is 1/n for a whole n, else None; dividing by n keeps decimals exact."""
    if step <= 0:
        return None
    inverse = 1.0 / step
    nearest = round(inverse)
    return nearest if nearest >= 1 and abs(inverse - nearest) <= 1e-9 * inverse else None


@lru_cache(maxsize=4096)
def whole_offset(quantum: Quantum) -> int | None:
    """The offset in steps of 1/n where that is a whole number; None where it is not."""
    inverse = whole_inverse(quantum.step)
    if inverse is None:
        return None
    shift = quantum.offset * inverse
    whole = round(shift)
    return whole if abs(shift - whole) <= 1e-9 * max(1.0, abs(shift)) else None


def quantise(values: npt.NDArray[np.float64], quantum: Quantum) -> npt.NDArray[np.int64] | None:
    """Values as integers of the quantum, or None where 64-bit floats must be kept.

    Args:
        values: Finite, any shape.
        quantum: Step and offset in the values' unit.
    Returns:
        Same shape; None when the step is 0 or a value is too large for its step.
    """
    if quantum.step == 0:
        return None
    inverse = whole_inverse(quantum.step)
    with np.errstate(over="ignore"):
        moved = values - quantum.offset if quantum.offset else values
        scaled = moved * inverse if inverse else moved / quantum.step
    if scaled.size and not np.abs(scaled).max() < Q_LIMIT:
        return None
    return np.rint(scaled).astype(np.int64)


def restore(
    q: npt.NDArray[np.integer] | npt.NDArray[np.floating], quantum: Quantum
) -> npt.NDArray[np.float64]:
    """Whole numbers of the quantum as values. A step of 1/n is divided by: 251/10 is 25.1."""
    inverse, whole = whole_inverse(quantum.step), whole_offset(quantum)
    values: npt.NDArray[np.float64]
    if inverse is None:
        values = np.multiply(q, quantum.step, dtype=np.float64)
        values += quantum.offset
    elif whole is not None:  # 251 and -400 make -14.9 in tenths
        values = np.add(q, whole, dtype=np.float64)
        values /= inverse
    else:
        values = np.divide(q, inverse, dtype=np.float64)
        values += quantum.offset
    return values
