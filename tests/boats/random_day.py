"""Invented days for an invented boat: stream, wind, sky, and a plan of legs that spends a pack."""

import math
from dataclasses import dataclass

import numpy as np

from replay.boatsim.boat import SimBoat
from replay.boatsim.physics.hull import GRAVITY_MPS2
from replay.boatsim.physics.place import Place, Sky, Stream, Wind
from replay.boatsim.scene import Leg, Scene, Shore
from tests.boats.random_boat import CELL_V, drive_input_w

Rng = np.random.Generator


@dataclass(frozen=True)
class Wish:
    """What kind of day.

    Args:
        end_soc: The plan spends the pack down to about here.
        outward_frac: Share of that energy that is spent before turning homewards.
        sail_frac: Chance that a leg outwards is sailed (a fifth of these with the propeller
            turning, a fifth with motor and sails together).
        stream_mps: Highest stream; None: drawn, up to about 0.9.
        wind_mps: Mean wind; None: drawn, 1 to 7.5.
    """

    end_soc: float = 0.25
    outward_frac: float = 0.45
    sail_frac: float = 0.2
    stream_mps: float | None = None
    wind_mps: float | None = None


def random_place(rng: Rng) -> Place:
    """Somewhere in open ocean."""
    return Place(
        round(float(rng.uniform(-45, 55)), 4),
        round(float(rng.uniform(-170, -130)), 4),
        round(float(rng.uniform(-15, 15)), 1),
    )


def _stream(rng: Rng, wish: Wish) -> Stream:
    peak = float(rng.uniform(0, 0.9)) if wish.stream_mps is None else wish.stream_mps
    way, thin = float(rng.uniform(0, 2 * math.pi)), float(rng.uniform(0.05, 0.5)) * peak
    late = float(rng.uniform(0, 2 * math.pi))
    turn = 1 if rng.random() < 0.5 else -1
    # Long axis a cos(wt - late), short axis across it, a quarter later: an ellipse.
    long_c, long_s = peak * math.cos(late), peak * math.sin(late)
    short_c, short_s = -turn * thin * math.sin(late), turn * thin * math.cos(late)
    e, n = math.sin(way), math.cos(way)
    rest = rng.normal(0, 0.05, 2) * (peak > 0)
    return Stream(
        (float(rest[0]), long_c * e + short_c * n, long_s * e + short_s * n),
        (float(rest[1]), long_c * n - short_c * e, long_s * n - short_s * e),
        0.04 * min(peak, 0.75),
    )


def _sky(rng: Rng, place: Place) -> Sky:
    return Sky(
        latitude_deg=place.latitude_deg,
        day=int(rng.integers(1, 366)),
        noon_s=float(rng.uniform(-1.0, 4.0)) * 3600,
        clear_frac=float(rng.uniform(0.25, 0.8)),
        cloud_frac=float(rng.uniform(0.05, 0.35)),
        air_c=float(rng.uniform(3, 31)),
    )


def random_scene(boat: SimBoat, place: Place, rng: Rng, wish: Wish) -> Scene:
    """One day out and home again, spending the pack from nearly full to `wish.end_soc`."""
    wind_mps = float(rng.uniform(1.0, 7.5)) if wish.wind_mps is None else wish.wind_mps
    wind = Wind(
        wind_mps, float(rng.uniform(0, 360)), float(rng.uniform(0.1, 0.25)), float(rng.normal(0, 6))
    )
    cells = len(boat.cells.capacity_ah)
    return Scene(
        legs=_plan(boat, rng, wish),
        stream=_stream(rng, wish),
        wind=wind,
        sky=_sky(rng, place),
        rough=float(rng.uniform(0.004, 0.014)) * wind_mps,
        start_soc=0.90,
        shore=Shore(0.16 * boat.rated_ah, 3.5 * cells),
        warm_up_s=3000.0,
        shelter_m=300.0,
    )


def _plan(boat: SimBoat, rng: Rng, wish: Wish) -> tuple[Leg, ...]:
    """Legs outwards while half the energy lasts, then homewards with the rest."""
    whole_wh = boat.rated_ah * len(boat.cells.capacity_ah) * CELL_V * (0.97 - wish.end_soc)
    outward = float(rng.uniform(0, 360))
    legs = [Leg("shore", 600.0), Leg("lying", 120.0)]
    spent, sailed = 0.0, 0
    while spent < wish.outward_frac * whole_wh:
        sailing = bool(rng.random() < wish.sail_frac) and sailed < 3 and spent > 0
        leg = _sailing(boat, rng, outward) if sailing else _motoring(boat, rng, outward, 45.0)
        sailed += sailing
        legs.append(leg)
        spent += _leg_wh(boat, leg)
    while spent < whole_wh:
        leg = _motoring(boat, rng, outward + 180.0, 30.0)
        legs.append(leg)
        spent += _leg_wh(boat, leg)
    return tuple(legs)


def _speed(boat: SimBoat, froude: float) -> float:
    return froude * math.sqrt(GRAVITY_MPS2 * boat.hull.waterline_m)


def _motoring(boat: SimBoat, rng: Rng, way_deg: float, spread_deg: float) -> Leg:
    speed = _speed(boat, float(rng.uniform(0.19, 0.35)))
    heading = (way_deg + float(rng.normal(0, spread_deg))) % 360
    return Leg("motoring", round(float(rng.uniform(360, 1800))), speed, heading)


def _sailing(boat: SimBoat, rng: Rng, way_deg: float) -> Leg:
    doing = str(rng.choice(["sailing"] * 3 + ["regenerating", "motorsailing"]))
    sails = _speed(boat, float(rng.uniform(0.2, 0.32)))
    motor = _speed(boat, float(rng.uniform(0.2, 0.28))) if doing == "motorsailing" else 0.0
    heading = (way_deg + float(rng.normal(0, 60))) % 360
    return Leg(doing, round(float(rng.uniform(600, 2400))), motor, heading, sails)  # type: ignore[arg-type]


def _leg_wh(boat: SimBoat, leg: Leg) -> float:
    """About what a leg costs."""
    power = boat.hotel_w + boat.pilot_w
    if leg.doing in ("motoring", "motorsailing"):
        share = 1.0 if leg.doing == "motoring" else 0.6
        power += share * 1.08 * drive_input_w(boat.hull, boat.water, boat.drive, leg.speed_mps)
    return power * leg.duration_s / 3600
