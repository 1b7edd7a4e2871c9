"""How long one answer to "how far" takes: 1,000 draws x 20 speeds.

Run: python tests/bench/bench_reach.py. Prints the median of many runs and the share of each part.
The bar is 50 ms on a 2-core x86-64 machine; `range` live asks once a second.
"""

import time

import numpy as np

from analyzer.environment.stream import unknown
from analyzer.hull import hull
from analyzer.pack.cell_model import chemistry
from analyzer.range.monte_carlo import Now, ReachInput, air_draws, draw, pack_draws
from analyzer.range.reach import reach, speeds_for
from analyzer.range.run_down.discharge import Limits
from logger.boat import Boat


def question(n: int = 1000, k: int = 20) -> ReachInput:
    """An invented boat half way through its charge, motoring in an unknown stream."""
    boat = Boat(
        name="invented",
        hull={
            "waterline_m": 8.2,
            "beam_waterline_m": 2.6,
            "draught_m": 1.4,
            "displacement_kg": 5200.0,
        },
        pack={"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 200.0},
        motor={"rated_power_w": 8000.0},
    )
    rng = np.random.default_rng(1)
    curve = hull.prior(boat)
    charge = {
        "soc": 0.5 + 0.03 * rng.standard_normal(n),
        "capacity_ah": 195 * np.exp(0.03 * rng.standard_normal(n)),
        "r0_ohm": np.full(n, 3e-4),
        "r1_ohm": np.full(n, 2e-4),
        "temp_c": np.full(n, 15.0),
    }
    return ReachInput(
        curve=curve,
        stream=unknown("no compass"),
        charge=charge,
        kind=chemistry("lfp"),
        cells=16,
        limits=Limits(0.2, 2.5, 42.0, 0.003),
        course_deg=90.0,
        speeds_mps=speeds_for(curve, 8000.0, k),
        hotel_w=(60.0, 10.0),
        solar_w=(100.0, 30.0),
        now=Now(2.2, 90.0, 1400.0),
    )


def median_ms(of: object, runs: int = 40, clock: object = time.perf_counter) -> float:
    """Median time of a call by a clock. [ms]"""
    taken = []
    for _ in range(runs):
        start = clock()  # type: ignore[operator]
        of()  # type: ignore[operator]
        taken.append(clock() - start)  # type: ignore[operator]
    return 1000 * float(np.median(taken))


def main() -> None:
    """Prints the table."""
    given = question()
    rng = np.random.default_rng(1)
    print(f"range, 1,000 draws x 20 speeds: {median_ms(lambda: reach(given)):.1f} ms (bar 50 ms)")
    busy = median_ms(lambda: reach(given), clock=time.process_time)
    print(f"  of the processor's time     {busy:.1f} ms (what it takes on an idle machine)")
    print(f"  pack draws  {median_ms(lambda: pack_draws(given, 1000, rng)):.1f} ms")
    parts = median_ms(lambda: draw(given, air_draws(given, 1000, rng), np.zeros(1000), 1000, rng))
    print(f"  curves and streams  {parts:.1f} ms")


if __name__ == "__main__":
    main()
