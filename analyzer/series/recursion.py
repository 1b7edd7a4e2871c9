"""THE recursions of first-order bodies: a lag in time, and hysteresis in the charge moved.

Both are y[k] = keep[k]·y[k-1] + push[k], the exact solution of a linear first-order equation
whose drive is held over each step.
"""

import numpy as np

from analyzer.series.series import Floats
from analyzer.series.steps import Steps


def first_order_lag(drive: Floats, keep: float | Floats, start: float = 0.0) -> Floats:
    """Low-pass of first order: y[k] = keep·y[k-1] + (1 - keep)·drive[k], from `start`.

    That is tau·dy/dt = drive - y with keep = exp(-step/tau).

    Args:
        drive: Shape (n,), or (n, columns).
        keep: What is left of y after a step; for columns one each, (columns,).
    Returns:
        y after each step, the drive's shape.
    """
    y: float | Floats = start
    push, out = drive * (1.0 - keep), []
    # A column by itself goes as plain numbers, which is many times faster than array scalars.
    for pushed in push.tolist() if push.ndim == 1 else push:
        y = keep * y + pushed
        out.append(y)
    return np.array(out).reshape(drive.shape)


def hysteresis(charge: Floats, scale: float) -> tuple[Floats, Floats]:
    """Keep and push of each reading, so that the state becomes keep·h + push. (n,), (n,)

    scale·dh/d|q| = -sign(dq) - h, q the charge given: h goes to -1 with charge given and to 1 with
    charge taken, 63 % of the way with each `scale` of charge.

    Args:
        charge: Given in each reading, below 0 if taken; same unit as `scale`.
    """
    log_keep = -np.abs(charge) / scale
    return np.exp(log_keep), np.sign(charge) * np.expm1(log_keep)


def hysteresis_over(steps: Steps, charge: Floats, scale: float) -> tuple[Floats, Floats]:
    """The same over whole steps, their readings one after the other. (m,), (m,)"""
    if not len(charge):
        return np.zeros(0), np.zeros(0)
    _, push = hysteresis(charge, scale)
    log_keep = -np.abs(charge) / scale
    so_far = np.cumsum(log_keep)
    at_end = so_far[steps.first + steps.count - 1]
    kept_later = np.exp(at_end[steps.step_of] - so_far)
    return np.exp(steps.total(log_keep)), steps.total(push * kept_later)


def hysteresis_state(charge: Floats, scale: float, start: float) -> Floats:
    """The state after each reading, -1 to 1, from `start`. (n,)"""
    out, state = [], start
    for keep, push in zip(*(part.tolist() for part in hysteresis(charge, scale)), strict=True):
        state = keep * state + push
        out.append(state)
    return np.array(out)
