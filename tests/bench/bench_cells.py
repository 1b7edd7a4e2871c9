"""How long the cells take to watch: run by hand, `python tests/bench/bench_cells.py`.

An hour of sixteen cells at 1 Hz, asked every ten seconds what stands out, as the live watch does;
beside it the same readings taken in without a question, and with all hypotheses weighed anew at
each question. Invented readings.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analyzer.cells import tracker
from analyzer.cells.monitor import CellMonitor
from analyzer.pack.cell_model import chemistry
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=230)
HOUR_S, PER = 3600, 10


def hour() -> Series:
    """Changing load, the fifth cell 5 % low in charge; invented."""
    rng = np.random.default_rng(1)
    amps = np.repeat(rng.uniform(-10, 120, HOUR_S // 120), 120) + rng.normal(0, 1, HOUR_S)
    values = {"pack_current_a": np.round(amps, 1)}
    for i in range(1, 17):
        soc = 0.95 - 0.05 * (i == 5) - np.cumsum(amps) / 3600 / PACK.rated_capacity_ah
        volts = chemistry("lfp").ocv_v(soc) - amps * 0.45e-3 + rng.normal(0, 3e-4, HOUR_S)
        values[cell_voltage(i)] = np.round(volts, 3)
    return Series(0, 1.0, HOUR_S, values)


def seconds(series: Series, every_s: int | None, ask_s: float) -> float:
    """Processor time of the hour. every_s: between questions; None: one at the end."""
    tracker.ASK_S = ask_s
    monitor = CellMonitor(PACK)
    start = time.process_time()
    for first in range(0, series.n, PER):
        monitor.update(series.cut(first, first + PER))
        if every_s and first % every_s == 0:
            monitor.detections()
    monitor.detections()
    return time.process_time() - start


def main() -> None:
    """Prints times and ratios."""
    series, usual = hour(), tracker.ASK_S
    taken = min(seconds(series, None, usual) for _ in range(3))
    asked = min(seconds(series, PER, usual) for _ in range(3))
    anew = seconds(series, PER, 0.0)
    print(f"an hour of sixteen cells, taken in: {taken:.2f} s")
    print(f"asked every {PER} s: {asked:.2f} s, {asked / taken:.1f} times that")
    print(f"weighed anew each time: {anew:.2f} s, {anew / asked:.1f} times more")


if __name__ == "__main__":
    main()
