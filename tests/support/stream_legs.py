"""Invented legs in a slowly turning stream."""

import numpy as np

from analyzer.series.series import Series


def legs(
    headings,
    leg_s=600,
    *,
    set_deg=120.0,
    drift_mps=0.6,
    advance_m=0.12,
    turns=18.0,
    compass_off=2.0,
    log_factor=None,
    heading=True,
    wave=0.15,
    seed=1,
) -> tuple[Series, float, float]:
    """A boat run along headings in a slowly turning stream; returns the stream at the end."""
    rng = np.random.default_rng(seed)
    course = np.repeat(np.asarray(headings, float), leg_s)
    t = np.arange(len(course), dtype=float)
    turning = set_deg + 25.0 * t / 3600
    size = drift_mps * (1 - 0.1 * t / 3600)
    # waves change the speed for the same revolutions; the boat yaws about its heading
    water = (
        advance_m * turns * (1 + 0.03 * np.interp(t, t[::60], rng.standard_normal(len(t[::60]))))
    )
    bow = np.radians(course + 3.0 * rng.standard_normal(len(t)))
    east = water * np.sin(bow) + size * np.sin(np.radians(turning))
    north = water * np.cos(bow) + size * np.cos(np.radians(turning))
    east += wave * rng.standard_normal(len(t))
    north += wave * rng.standard_normal(len(t))
    values = {
        "speed_ground_mps": np.hypot(east, north),
        "course_ground_deg": np.degrees(np.arctan2(east, north)) % 360,
        "shaft_speed_rps": np.full(len(t), turns),
    }
    if heading:
        values["heading_true_deg"] = (np.degrees(bow) + compass_off) % 360
    if log_factor:
        values["speed_water_mps"] = water / log_factor
    return Series(0, 1.0, len(t), values), float(turning[-1]), float(size[-1])


def off_deg(a: float, b: float) -> float:
    """Between two directions. [deg]"""
    return abs((a - b + 180) % 360 - 180)
