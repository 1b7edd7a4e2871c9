"""A stretch of the past with another boat: the same way, weather and speeds, step by step.

The power that was measured is what the boat as it is took; the changed boat takes that and what the
change adds. Both are drawn from the pack of each draw, with and without the change, by the same
steps; only what lies between them is used.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.hull.power_curve import PowerCurve
from analyzer.range.run_down.discharge import after_s
from analyzer.range.run_down.pack_draws import PackDraws
from analyzer.range.sample import Sample

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Past:
    """What was measured, as means of steps, (t,) each; NaN where a step was not read.

    Args:
        pack_w: Out of the pack, below 0 on charge. drive_w: Into the motor drive.
        water_mps: Through the water, as well as it is known.
        step_s: Length of a step.
    """

    pack_w: Floats
    drive_w: Floats
    water_mps: Floats
    step_s: float


def changed_w(
    past: Past, before: Sample, after: Sample, curve: PowerCurve, sun_more_w: Floats
) -> Floats:
    """Power out of the pack of the changed boat, (n, t). [W]

    Args:
        before, after: The same draws without and with the change.
        sun_more_w: What other panels give more, (n, t) or (n, 1).
    """
    log_change = after.draws.log_power - before.draws.log_power
    known_mps = np.nan_to_num(past.water_mps)
    at_speed = log_change @ curve.weights(known_mps).T
    drive_w = np.maximum(np.nan_to_num(past.drive_w), 0.0)
    # the sea takes the same from every boat: what the change does is a factor of the whole
    drive_more_w = drive_w * np.expm1(at_speed)
    load_more_w = after.draws.hotel_w - before.draws.hotel_w
    whole_w = past.pack_w + drive_more_w + load_more_w[:, None] - sun_more_w
    return np.asarray(np.where(np.isfinite(past.pack_w), whole_w, 0.0))


def charge_over(pack: PackDraws, power_w: Floats, step_s: float) -> Floats:
    """Charge after each step of powers, (n, t). [frac]

    Args:
        power_w: Out of the pack, (n, t).
    """
    n, steps = power_w.shape
    seconds = np.full(n, step_s)
    soc, kept = pack.soc, np.empty((n, steps))
    for k in range(steps):
        soc = np.maximum(after_s(pack, power_w[:, k], soc, seconds), 0.0)
        kept[:, k] = soc
    return kept
