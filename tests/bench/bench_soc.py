"""How long the charge filter takes: run by hand, `python tests/bench/bench_soc.py`.

Three hours at 1 Hz, and 30,000 readings of a sixteen-cell pack with its cells watched; beside
them filterpy's filter on the same readings. Invented readings.
"""

import sys
import time
from pathlib import Path

import numpy as np

from analyzer.cells.monitor import CellMonitor
from analyzer.pack.cell_model import chemistry, default_cell
from analyzer.pack.soc import track
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=230)


def readings(n: int) -> Series:
    """Changing load on sixteen alike cells; invented."""
    rng = np.random.default_rng(1)
    amps = np.repeat(rng.uniform(0, 40, n // 100 + 1), 100)[:n]
    soc = 0.95 - np.cumsum(amps) / 3600 / 230
    volts = chemistry("lfp").ocv_v(soc) - amps * 0.45e-3
    values = {"pack_current_a": amps, "pack_voltage_v": 16 * volts}
    for i in range(1, 17):
        values[cell_voltage(i)] = np.round(volts + rng.normal(0, 5e-4, n), 3)
    return Series(0, 1.0, n, values)


def timed(text: str, work, times: int = 3) -> float:
    """Best processor time of a few runs."""
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    print(f"{text:52} {best:7.3f} s")
    return best


def main() -> None:
    """Prints the times."""
    short, long = readings(10_800), readings(30_000)
    ours = timed("charge, 10,800 readings", lambda: track(short, PACK))
    timed("charge, 30,000 readings", lambda: track(long, PACK))
    timed("sixteen cells, 30,000 readings", lambda: CellMonitor(PACK).update(long))
    sys.path.insert(0, str(Path(__file__).parents[2]))
    from tests.support.beside import library_filter

    amps, volts = short.get("pack_current_a"), short.get("pack_voltage_v") / 16
    cell = default_cell(PACK)
    theirs = timed(
        "filterpy, one pair, 10,800 readings",
        lambda: library_filter(amps, volts, 1.0, cell, 0.9, 0.2),
        1,
    )
    print(f"{theirs / ours:.1f} times")


if __name__ == "__main__":
    main()
