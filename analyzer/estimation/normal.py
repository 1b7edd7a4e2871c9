"""The normal distribution's integral, quickly."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def below(z: Floats) -> Floats:
    """Share below z standard deviations, within 3e-4 at a fraction of the error function's cost.

    Source: E. Page, Applied Statistics 26 (1977) 75; from memory.

    Returns:
        Same shape.
    """
    return np.asarray(0.5 * (1 + np.tanh(0.7978845608 * z * (1 + 0.044715 * z * z))))
