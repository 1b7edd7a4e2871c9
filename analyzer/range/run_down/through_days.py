"""A run-down through days and nights: it ends when what was drawn, less the sun, is what there is.

With E the energy that the pack gives down to its limit, G what motor and hotel load take and S(t)
what the sun has given since, a run ends at the first time at which G t - S(t) = E. A mean power
does not tell that time: where the sun nearly covers the draw, the run ends in the night in which
the pack first runs out, although a later day would have filled it again. Sun that comes when the
pack is full is lost (a reflected sum, Skorokhod 1961). What E is hangs a little on the mean power,
so both are worked out in turn. Losses of charging are left out: some per cent of what flows back.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analyzer.environment.sun_ahead import EVERY_H, HOURS, SunPaths
from analyzer.range.run_down.discharge import run_down
from analyzer.range.run_down.pack_draws import MOST_S, Limits, PackDraws, RunDown
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

ROUNDS = 2  # the energy changes by a few per cent with the power: assumed enough
LEAST_FRAC = 1e-3  # of charge; divides where the run begins at its limit; assumed
LEAST_W = 0.1  # the same of power; assumed
DRAWN_LEAST_W = 1e-9  # divides where nothing is drawn; by definition none


def through_days(
    motor_w: Floats,
    mean_drive_w: Callable[[Floats], Floats],
    hotel_w: Floats,
    sun: SunPaths,
    pack: PackDraws,
    limits: Limits,
) -> tuple[RunDown, Floats]:
    """Every draw down to its first limit, through the sun that it meets.

    Args:
        motor_w: Propulsion power now, (n, k).
        mean_drive_w: Its mean over times from now, (n, k) of (n, k).
        hotel_w: (n, 1).
    Returns:
        The run, and its mean propulsion power, (n, k). [W]
    """
    run = run_down(motor_w, hotel_w, pack, limits)
    taken_w = motor_w + hotel_w
    energy_wh = taken_w * run.duration_s / HOUR_S
    for _ in range(ROUNDS):
        lasts_s = first_passage_s(motor_w + hotel_w, energy_wh, _room_wh(energy_wh, run, pack), sun)
        motor_w = mean_drive_w(lasts_s)
        taken_w = np.maximum(energy_wh * HOUR_S / np.maximum(lasts_s, 1.0), LEAST_W)
        run = run_down(motor_w, taken_w - motor_w, pack, limits)
        ends = run.duration_s < MOST_S
        energy_wh = np.where(ends, taken_w * run.duration_s / HOUR_S, energy_wh)
    lasts_s = first_passage_s(motor_w + hotel_w, energy_wh, _room_wh(energy_wh, run, pack), sun)
    return replace(run, duration_s=lasts_s), motor_w


def _room_wh(energy_wh: Floats, run: RunDown, pack: PackDraws) -> Floats:
    """What still goes into the pack until it is full, at the run's energy for its charge."""
    now = pack.soc[:, None]
    spent = np.maximum(now - run.end_soc, LEAST_FRAC)
    return np.asarray(energy_wh * (1.0 - now) / spent)


def first_passage_s(drawn_w: Floats, energy_wh: Floats, room_wh: Floats, sun: SunPaths) -> Floats:
    """When what was drawn, less the sun, first comes to an energy; at most `MOST_S`. [s]

    Args:
        drawn_w: Without the sun, (n, k).
        energy_wh: What there is, (n, k).
        room_wh: What more than now the pack can take, (n, k).
    """
    if not sun.watts.any():  # a straight line to the energy
        ends_h = energy_wh / np.maximum(drawn_w, DRAWN_LEAST_W)
        return np.minimum(np.clip(ends_h, 0.0, HOURS[-1]) * HOUR_S, MOST_S)
    given_wh, most_w = sun.given_wh, sun.watts.max(axis=1)
    ends_h = np.empty_like(drawn_w)
    for k in range(drawn_w.shape[1]):
        spent_wh = drawn_w[:, k, None] * HOURS - given_wh
        fills = most_w > drawn_w[:, k]
        if fills.any():
            over_wh = -room_wh[fills, k, None] - spent_wh[fills]
            lost_wh = np.maximum.accumulate(np.maximum(over_wh, 0.0), axis=1)
            spent_wh[fills] = np.maximum.accumulate(spent_wh[fills] + lost_wh, axis=1)
        ends_h[:, k] = _crossing_h(spent_wh, energy_wh[:, k])
    return np.minimum(ends_h * HOUR_S, MOST_S)


def _crossing_h(rising_wh: Floats, energy_wh: Floats) -> Floats:
    """When each never falling line first reaches its energy, (n,); the last hour where none does.

    Args:
        rising_wh: At `HOURS`, (n, h).
    """
    below = (rising_wh < energy_wh[:, None]).sum(axis=1)
    after = np.clip(below, 1, len(HOURS) - 1)[:, None]
    begun = np.take_along_axis(rising_wh, after - 1, axis=1)[:, 0]
    end = np.take_along_axis(rising_wh, after, axis=1)[:, 0]
    part = (energy_wh - begun) / np.maximum(end - begun, 1e-9)
    return np.asarray(HOURS[after[:, 0] - 1] + EVERY_H * np.clip(part, 0.0, 1.0))
