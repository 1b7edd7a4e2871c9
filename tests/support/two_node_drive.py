"""A motor of two thermal nodes that is not the filter's own model."""

import numpy as np

from logger.boat import Motor
from tests.support.motor_boat import motor_boat

BOAT = motor_boat(motor=Motor(rated_power_w=6000, motor_max_temp_c=110))


def two_nodes(load_a: np.ndarray, air_c: float, watts_at_100a: float, seed: int) -> np.ndarray:
    """Winding and housing: 2.5 kJ/K and 9 kJ/K, 12 W/K between, 7 W/K to the air. Invented."""
    rng = np.random.default_rng(seed)
    winding = housing = air_c
    out = np.empty(len(load_a))
    for k, amps in enumerate(load_a.tolist()):
        heat = watts_at_100a * (amps / 100) ** 2
        across = 12 * (winding - housing)
        winding += (heat - across) / 2500
        housing += (across - 7 * (housing - air_c)) / 9000
        out[k] = winding
    return out + 0.3 * rng.standard_normal(len(out))
