"""The current triangle: course, heading, speed through water and over ground, set and drift.

Source: navigation (textbook): the correction follows from the law of sines.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Made:
    """heading_deg to steer, or course_deg made; speed_ground_mps over the ground."""

    angle_deg: float
    speed_ground_mps: float


def to_steer(
    track_deg: float, speed_water_mps: float, set_deg: float, drift_mps: float
) -> Made | None:
    """Heading that keeps a track in a stream, and the speed then made over the ground.

    Args:
        track_deg: Wanted course over ground. set_deg: Where the stream goes to. [deg true]
    Returns:
        None where the stream across is faster than the boat.
    """
    off = math.radians(set_deg - track_deg)
    across = drift_mps * math.sin(off)
    if abs(across) > speed_water_mps:
        return None
    correction = math.asin(across / speed_water_mps)
    made = speed_water_mps * math.cos(correction) + drift_mps * math.cos(off)
    return Made((track_deg - math.degrees(correction)) % 360.0, made)


def made_good(heading_deg: float, speed_water_mps: float, set_deg: float, drift_mps: float) -> Made:
    """Course and speed over ground of a heading in a stream."""
    heading, toward = math.radians(heading_deg), math.radians(set_deg)
    east = speed_water_mps * math.sin(heading) + drift_mps * math.sin(toward)
    north = speed_water_mps * math.cos(heading) + drift_mps * math.cos(toward)
    return Made(math.degrees(math.atan2(east, north)) % 360.0, math.hypot(east, north))
