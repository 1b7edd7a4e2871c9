"""How long the thermal filters take: run by hand, `python tests/bench/bench_thermal.py`.

An hour at 1 Hz of boats with two and with four probes. Invented readings.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from analyzer.series.series import Series
from analyzer.thermal.cables import CableGroup
from logger.boat import Cable
from logger.channels import probe_temp
from tests.bench.bench_soc import timed

HOUR_S = 3600


def hour(probes: tuple[str, ...]) -> Series:
    """Changing load, warming lugs; invented."""
    rng = np.random.default_rng(1)
    amps = np.repeat(rng.uniform(0, 140, HOUR_S // 300), 300)
    temp_c = 20 + np.convolve(amps**2, np.exp(-np.arange(HOUR_S) / 600))[:HOUR_S] / 600 * 1e-3
    values = {"pack_current_a": amps, "ambient_temp_c": np.full(HOUR_S, 20.0)}
    for probe in probes:
        values[probe_temp(probe)] = temp_c + rng.normal(0, 0.1, HOUR_S)
    return Series(0, 1.0, HOUR_S, values)


def main() -> None:
    """Prints the times."""
    for names in (("a", "b"), ("a", "b", "c", "d")):
        cables = tuple(
            Cable(name=n, size_mm2=50, length_m=2, probe=n, partner=p)
            for n, p in zip(names, (*names[1:], names[0]), strict=True)
        )
        series = hour(names)
        timed(
            f"{len(names)} probed cables, an hour",
            lambda cables=cables, series=series: CableGroup(cables).update(series),
        )


if __name__ == "__main__":
    main()
