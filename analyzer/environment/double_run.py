"""Calibration by double runs: to and fro at one shaft speed, the stream taken out.

Two runs take out a steady stream, three one that changes evenly, four one that changes as a
square of time (mean of means). Runs must be about equally long and equally spaced.

Source: mean of means, (V1 + 3 V2 + 3 V3 + V4) / 8, as ITTC and ISO 15016 speed trials have it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.environment.stream_bins import heading_true
from analyzer.estimation.results import SCHEMA
from analyzer.series.series import Series

Floats = npt.NDArray[np.float64]

WEIGHTS = {2: (1, 1), 3: (1, 2, 1), 4: (1, 3, 3, 1)}  # ISO 15016

# What counts as a run, common practice, no source.
LEAST_RUN_S = 120.0
SHAFT_SPREAD = 0.04  # relative: what counts as one shaft speed
HEADING_DEG = 12.0  # a run keeps within this
RECIPROCAL_DEG = 20.0  # and its neighbour is opposite within this
TURN_S = 30.0  # at each run's ends, left out
RUN_SD_MPS = 0.06  # of one run's mean speed, steering and waves

STEPS = (
    "choose open water with little traffic, and a steady stream if there is a choice",
    "set one shaft speed and leave the throttle alone until the end",
    "run three minutes or more on a steady heading, then turn and run the opposite heading for as "
    "long, wasting no time in the turns",
    "do four runs if the tide is turning, three if it changes, two at slack water",
    "keep a lookout: the program only listens, the boat is yours",
)


@dataclass(frozen=True)
class Run:
    """One run. start, stop: indices into the series."""

    start: int
    stop: int
    heading_deg: float
    speed_ground_mps: float
    shaft_rps: float | None
    log_mps: float | None


@dataclass(frozen=True)
class DoubleRun:
    """What the runs say; each value is (mean, sd), None where it was not measured.

    missing: what is still to be done, empty when the runs are complete.
    """

    runs: tuple[Run, ...]
    speed_water_mps: tuple[float, float] | None
    water_factor: tuple[float, float] | None
    advance_m: tuple[float, float] | None
    missing: str
    schema: int = SCHEMA


def mean_of_means(speeds: Sequence[float]) -> float:
    """Speed through water from 2, 3 or 4 runs to and fro at equal spacing.

    Raises:
        ValueError: Another number of runs.
    """
    if len(speeds) not in WEIGHTS:
        raise ValueError(f"mean of means wants 2, 3 or 4 runs, got {len(speeds)}")
    weights = WEIGHTS[len(speeds)]
    return float(np.dot(weights, speeds) / sum(weights))


def _weighted_sd(count: int) -> float:
    """Standard deviation of the mean of means from that of one run."""
    weights = np.array(WEIGHTS[count], dtype=np.float64)
    return float(RUN_SD_MPS * np.sqrt(np.sum(weights**2)) / weights.sum())


def find_runs(series: Series) -> tuple[Run, ...]:
    """Steady runs on one heading at one shaft speed, in order of time."""
    heading = heading_true(series)
    course = series.get("course_ground_deg")
    bow = np.radians(np.where(np.isfinite(heading), heading, course))
    shaft = series.get("shaft_speed_rps")
    runs: list[Run] = []
    start = 0
    for k in range(1, series.n + 1):
        if k < series.n and _alike(bow, shaft, start, k):
            continue
        runs += _run(series, bow, shaft, start, k)
        start = k
    return tuple(runs)


def _alike(bow: Floats, shaft: Floats, start: int, k: int) -> bool:
    """Whether sample k still belongs to the run that began at `start`."""
    if not np.isfinite(bow[[start, k]]).all():
        return False
    lately = slice(max(start, k - 60), k)
    aim = np.arctan2(np.mean(np.sin(bow[lately])), np.mean(np.cos(bow[lately])))
    off = abs(np.angle(np.exp(1j * (bow[k] - aim))))
    if not off < np.radians(3 * HEADING_DEG):
        return False
    usual = np.nanmedian(shaft[lately]) if np.isfinite(shaft[lately]).any() else np.nan
    return not abs(shaft[k] - usual) > SHAFT_SPREAD * max(abs(usual), 1.0)


def _run(series: Series, bow: Floats, shaft: Floats, start: int, stop: int) -> list[Run]:
    """The stretch as a run without its ends, or nothing where it is too short."""
    trim = round(TURN_S / series.step_s)
    start, stop = start + trim, stop - trim
    if (stop - start) * series.step_s < LEAST_RUN_S:
        return []
    part = slice(start, stop)
    aim = np.arctan2(np.mean(np.sin(bow[part])), np.mean(np.cos(bow[part])))

    def mean(values: Floats) -> float | None:
        ok = np.isfinite(values[part])
        return float(values[part][ok].mean()) if ok.any() else None

    made = mean(series.get("speed_ground_mps"))
    log = mean(series.get("speed_water_mps"))
    found = mean(shaft)
    if made is None or (found is not None and found < 0.5):
        return []
    return [Run(start, stop, float(np.degrees(aim) % 360.0), made, found, log)]


def _to_and_fro(runs: Sequence[Run]) -> tuple[Run, ...]:
    """The last runs that alternate on opposite headings at one shaft speed, four at most."""
    chain: list[Run] = []
    for run in reversed(runs):
        if chain:
            turned = abs((run.heading_deg - chain[-1].heading_deg) % 360.0 - 180.0)
            first, second = run.shaft_rps, chain[-1].shaft_rps
            if turned > RECIPROCAL_DEG:
                break
            if first and second and abs(first / second - 1) > SHAFT_SPREAD:
                break
        chain.append(run)
        if len(chain) == 4:
            break
    return tuple(reversed(chain))


def calibrate(series: Series) -> DoubleRun:
    """Speed through water, log factor and propeller's advance from the last double runs.

    Args:
        series: speed_ground_mps, a heading (or course), shaft_speed_rps and speed_water_mps as
            far as there.
    """
    runs = _to_and_fro(find_runs(series))
    if len(runs) < 2:
        return DoubleRun(runs, None, None, None, _still_missing(runs))
    speed = mean_of_means([run.speed_ground_mps for run in runs])
    sd = _weighted_sd(len(runs))

    def over(values: list[float | None]) -> tuple[float, float] | None:
        known = [v for v in values if v is not None]
        if len(known) < len(values) or not mean_of_means(known) > 0.1:
            return None
        base = mean_of_means(known)
        return speed / base, sd / base

    return DoubleRun(
        runs=runs,
        speed_water_mps=(speed, sd),
        water_factor=over([run.log_mps for run in runs]),
        advance_m=over([run.shaft_rps for run in runs]),
        missing=_still_missing(runs) if len(runs) < 3 else "",
    )


def _still_missing(runs: Sequence[Run]) -> str:
    """What to do next, in one sentence."""
    if not runs:
        return "no steady run of two minutes yet: hold one heading and one shaft speed"
    back = (runs[-1].heading_deg + 180.0) % 360.0
    if len(runs) == 1:
        return f"one run found: now run on {back:.0f}° for as long, at the same shaft speed"
    return f"two runs found: a third on {back:.0f}° takes out a stream that changes"
