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
        room_wh = _room_wh(energy_wh, run, pack)
        drawn_w = motor_w + hotel_w
        lasts_s = first_passage_s(drawn_w, energy_wh, room_wh, sun)
        motor_w = mean_drive_w(lasts_s)
        mean_w = energy_wh * HOUR_S / np.maximum(lasts_s, 1.0)
        taken_w = np.maximum(mean_w, LEAST_W)
        other_w = taken_w - motor_w
        run = run_down(motor_w, other_w, pack, limits)
        ends = run.duration_s < MOST_S
        spent_wh = taken_w * run.duration_s / HOUR_S
        energy_wh = np.where(ends, spent_wh, energy_wh)
    room_wh = _room_wh(energy_wh, run, pack)
    drawn_w = motor_w + hotel_w
    lasts_s = first_passage_s(drawn_w, energy_wh, room_wh, sun)
    through = replace(run, duration_s=lasts_s)
    return through, motor_w


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
        ends_h = np.clip(ends_h, 0.0, HOURS[-1])
        return np.minimum(ends_h * HOUR_S, MOST_S)
    given_wh = sun.given_wh
    most_w = sun.watts.max(axis=1)
    ends_h = np.empty_like(drawn_w)
    for k in range(drawn_w.shape[1]):
        draw_w = drawn_w[:, k]
        spent_wh = draw_w[:, None] * HOURS - given_wh
        fills = most_w > draw_w
        if fills.any():
            room = room_wh[fills, k]
            spent_wh[fills] = _without_lost_wh(spent_wh[fills], room)
        ends_h[:, k] = _crossing_h(spent_wh, energy_wh[:, k])
    return np.minimum(ends_h * HOUR_S, MOST_S)


def _without_lost_wh(spent_wh: Floats, room_wh: Floats) -> Floats:
    """What was spent at `HOURS`, (n, h), where a full pack leaves the sun unused. room_wh: (n,)"""
    over_wh = -room_wh[:, None] - spent_wh
    unused_wh = np.maximum(over_wh, 0.0)
    lost_wh = np.maximum.accumulate(unused_wh, axis=1)
    kept_wh = spent_wh + lost_wh
    return np.asarray(np.maximum.accumulate(kept_wh, axis=1))


def _crossing_h(rising_wh: Floats, energy_wh: Floats) -> Floats:
    """When each never falling line first reaches its energy, (n,); the last hour where none does.

    Args:
        rising_wh: At `HOURS`, (n, h).
    """
    below = (rising_wh < energy_wh[:, None]).sum(axis=1)
    after = np.clip(below, 1, len(HOURS) - 1)
    draws = np.arange(len(after))
    begun_wh = rising_wh[draws, after - 1]
    end_wh = rising_wh[draws, after]
    rises_wh = np.maximum(end_wh - begun_wh, 1e-9)
    part = (energy_wh - begun_wh) / rises_wh
    inside = np.clip(part, 0.0, 1.0)
    return np.asarray(HOURS[after - 1] + EVERY_H * inside)
