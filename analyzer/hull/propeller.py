"""How a propeller's efficiency falls with its load, by momentum theory.

The ideal efficiency is the most that any propeller of that diameter can reach; real ones stay
below it by a factor that changes little with the speed, so it is used for ratios only.

Source: actuator disc (Rankine, Froude; textbook), eta = 2 / (1 + sqrt(1 + C)), C the thrust over
1/2 rho A v².
"""

import numpy as np
import numpy.typing as npt

from analyzer.hull.resistance import WATER_DENSITY
from logger.boat import Boat

Floats = npt.NDArray[np.float64]

USUAL_DIAMETER = 0.04  # of the waterline, where the boat file says nothing; common practice


def diameter_m(boat: Boat) -> float:
    """From the boat file, else a usual one for her length."""
    return boat.motor.propeller_diameter_m or USUAL_DIAMETER * boat.hull.waterline_m


def ideal_efficiency(thrust_n: Floats, speed_mps: Floats, diameter: float) -> Floats:
    """Thrust times speed over the power that leaves the disc, 0 to 1; broadcast shape."""
    pressure = 0.5 * WATER_DENSITY * np.pi / 4 * diameter**2 * np.square(speed_mps)
    return np.asarray(2.0 / (1.0 + np.sqrt(1.0 + np.maximum(thrust_n, 0.0) / pressure)))
