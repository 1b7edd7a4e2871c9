"""The plan of a day and everything around the boat on it."""

from dataclasses import dataclass
from typing import Literal

from replay.boatsim.physics.place import Sky, Stream, Wind

Doing = Literal["shore", "lying", "motoring", "sailing", "regenerating", "motorsailing"]
STILL = ("shore", "lying")


@dataclass(frozen=True)
class Leg:
    """One stretch of the plan.

    Args:
        speed_mps: The calm-water speed whose shaft speed is set for the leg.
        sail_mps: The speed the sails alone would give.
        heading_deg: True; None: steers to make good a course to (goal_east_m, goal_north_m), or
            `course_deg`.
        course_deg: Over the ground, to be made good.
        turns_rps: Shaft speed that stays as it is, whatever speed that gives.
    """

    doing: Doing
    duration_s: float
    speed_mps: float = 0.0
    heading_deg: float | None = None
    sail_mps: float = 0.0
    goal_east_m: float = 0.0
    goal_north_m: float = 0.0
    course_deg: float | None = None
    turns_rps: float | None = None


@dataclass(frozen=True)
class Shore:
    """A charger on the pontoon: constant current up to a voltage, then that voltage."""

    current_a: float
    volts: float


@dataclass(frozen=True)
class Scene:
    """Everything around the boat on one day.

    Args:
        rough: Mean share of the waves on top of calm resistance. start_soc: of the cells' mean.
        warm_up_s: Charging before the record begins.
        shelter_m: The stream grows from nothing at the origin to its full strength this far off.
    """

    legs: tuple[Leg, ...]
    stream: Stream
    wind: Wind
    sky: Sky
    rough: float
    start_soc: float
    shore: Shore
    warm_up_s: float = 0.0
    shelter_m: float = 0.0
