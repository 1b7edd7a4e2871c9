"""An even trip of a 16-cell boat, for tests that ask during and after it."""

import numpy as np

from analyzer.pack.chemistry import chemistry
from analyzer.series.series import Series


def motoring(seconds: int = 5400, kind: str = "lfp", cells: int = 16) -> Series:
    """An even trip of 1 kW at 2.2 m/s, from full."""
    n = seconds
    rng = np.random.default_rng(1)
    volts, soc, current = np.zeros(n), 0.98, np.zeros(n)
    table = np.linspace(0, 1, 201)
    rest_v = cells * np.asarray(chemistry(kind).ocv_v(table, hysteresis=-1.0))
    for k in range(n):
        rest = float(np.interp(soc, table, rest_v))
        current[k] = 1040.0 / (rest - 0.012 * 1040.0 / rest)
        volts[k] = rest - 0.012 * current[k]
        soc -= current[k] / 3600 / 200
    return Series(
        0,
        1.0,
        n,
        {
            "pack_voltage_v": volts + 0.01 * rng.standard_normal(n),
            "pack_current_a": current + 0.1 * rng.standard_normal(n),
            "hotel_power_w": np.full(n, 40.0),
            "speed_ground_mps": 2.2 + 0.05 * rng.standard_normal(n),
            "course_ground_deg": (80 + rng.standard_normal(n)) % 360,
            "shaft_speed_rps": np.full(n, 15.0),
        },
    )
