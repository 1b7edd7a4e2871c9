"""What the sag's model leaves over, as a covariance written out."""

import numpy as np


def left_cov(t_s: np.ndarray, volts: np.ndarray) -> np.ndarray:
    """What is left over: it fades in 300 s, 1 mV and a hundredth of the loss; 0.3 mV of noise."""
    left = 0.001**2 + 0.01**2 * np.mean(volts**2)
    return left * np.exp(-np.abs(t_s[:, None] - t_s) / 300.0) + 0.0003**2 * np.eye(len(t_s))
