"""Systematic resampling (G. Kitagawa, J. Comput. Graph. Stat. 5 (1996) 1; from memory)."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def resample(chance: Floats, n: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """n indices, each in proportion to its chance, (n,); all in turn where none has any.

    Args:
        chance: Of each, at least 0, (n,).
    """
    total = np.cumsum(chance)
    if not total[-1] > 0:
        return np.arange(n)
    steps = np.arange(n) + rng.random()
    places = steps / n * total[-1]
    found = np.searchsorted(total, places)
    return np.asarray(np.minimum(found, n - 1), dtype=np.int64)
