"""An invented boat for tests of range: numbers that can be worked by hand."""

from dataclasses import replace

import numpy as np

from analyzer.environment.stream import given
from analyzer.environment.wind import Wind
from analyzer.hull.power_curve import PowerCurve
from analyzer.pack.chemistry import chemistry
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.run_down.discharge import Limits

SPEEDS = np.linspace(0.8, 3.2, 13)
CALM = Wind(0.0, 0.0, sd_mps=0.0)


def cubic_curve(spread: float = 1e-6, leg_sd: float = 0.0) -> PowerCurve:
    """100 W at 1 m/s and the cube of speed, off as a whole by a relative error `spread`."""
    speed = np.linspace(0.3, 5.0, 48)
    cov = spread**2 * np.ones((48, 48)) + 1e-14 * np.eye(48)
    return PowerCurve(speed, np.log(100 * speed**3), cov, leg_sd=leg_sd)


def charge(n: int, soc: float = 0.8) -> dict:
    """A pack of 100 Ah without resistance, known exactly."""
    one = np.ones(n)
    return {
        "soc": soc * one,
        "capacity_ah": 100 * one,
        "r0_ohm": 1e-9 * one,
        "r1_ohm": 1e-9 * one,
        "temp_c": 25 * one,
    }


def range_input(n: int = 200, **changes) -> ReachInput:
    """The question "how far" for that boat in still water and air."""
    base = ReachInput(
        curve=cubic_curve(),
        stream=given(0.0, 0.0, sd_mps=1e-9),
        charge=charge(n),
        kind=chemistry("lfp"),
        cells=16,
        limits=Limits(0.2, 2.5),
        course_deg=0.0,
        speeds_mps=SPEEDS,
        wind=CALM,
    )
    return replace(base, **changes)


def sure_curve() -> PowerCurve:
    """The same curve, known at each speed by itself."""
    curve = cubic_curve()
    return replace(curve, cov=1e-12 * np.eye(len(curve.speed_mps)))


def question(n: int = 400, **changes) -> ReachInput:
    """`range_input` with `sure_curve`."""
    return range_input(n, **({"curve": sure_curve()} | changes))
