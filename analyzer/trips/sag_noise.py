"""Residual of the sag fit: what no circuit of two pairs describes, as a stochastic process.

    n = x + v,   dx = -x/tau·dt + sigma·sqrt(2/tau)·dW,   v white
    sigma² = floor² + (share·rms loss)²

x is an Ornstein-Uhlenbeck process. It wanders for minutes, so that a thousand readings within one
of its time constants are worth little more than one. Whitening divides it out: least squares on
whitened rows are then maximum likelihood, and what a term gets wrong for a while counts once.
"""

import math

import numpy as np

from analyzer.series.series import Bools, Floats
from analyzer.series.steps import Steps, readings_per_step

BIN_S = 10.0  # fine enough for the fast pair, a tenth of the readings' work; assumed
LEAST_FILLED = 0.5  # of a bin's readings, for its mean to stand for the bin; assumed
# All per cell. The share: a third of a kelvin between probe and cells makes a hundredth of the
# loss. Floor, white noise of a bin's mean (meters and their time stamps) and tau are assumed.
FLOOR_SD_V, LOSS_SHARE_SD, TAU_S, WHITE_SD_V = 0.001, 0.01, 300.0, 0.0003


def bin_means(rows: Floats, known: Bools, step_s: float) -> tuple[Floats, Floats]:
    """Means over bins of `BIN_S` of known readings, and the bins' times. (m, columns), (m,)"""
    per = readings_per_step(BIN_S, step_s)
    bins = Steps.of(len(rows), step_s, per)
    filled = bins.total(known.astype(float)) >= LEAST_FILLED * per
    return bins.mean(rows, known)[filled], np.asarray(bins.first[filled] * step_s, float)


def whitened(rows: Floats, t_s: Floats) -> Floats:
    """Innovations of a Kalman filter for n, in their standard deviations. Shape of `rows`

    The same as solving L·w = rows, L the Cholesky factor of the covariance of n over these times,
    but in one pass (A. Harvey, Forecasting, Structural Time Series Models, 1989, from memory).

    Args:
        rows: The last column is the voltage less the rest curve's.
        t_s: Their times, which need not be even.
    """
    white = np.empty_like(rows)
    if not len(rows):
        return white
    loss_v2 = float(np.mean(np.square(rows[:, -1])))
    process_v2 = FLOOR_SD_V**2 + LOSS_SHARE_SD**2 * loss_v2
    # Every column is filtered with the same gain, so that products of columns stay right.
    mean, var, last_s = np.zeros(rows.shape[1]), process_v2, float(t_s[0])
    for k, (row, now_s) in enumerate(zip(rows, t_s.tolist(), strict=True)):
        # Predict: x fades, its variance goes back to that of the process.
        keep = math.exp(-(now_s - last_s) / TAU_S)
        mean, var = keep * mean, keep * keep * var + process_v2 * (1 - keep * keep)
        last_s = now_s
        # Update with this row.
        innovation, innovation_v2 = row - mean, var + WHITE_SD_V**2
        white[k] = innovation / math.sqrt(innovation_v2)
        gain = var / innovation_v2
        mean, var = mean + gain * innovation, var * (1 - gain)
    return white
