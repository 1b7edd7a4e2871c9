"""One log looked at: the answers that the single-boat commands give, and what comparing needs.

The log itself is never written to: the work is done on a copy.
"""

import hashlib
import json
import sqlite3
import time
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

import analyzer
from analyzer import answers
from analyzer.errors import AnalyzerError
from analyzer.fleet.logs import LogRef, digest, fetched
from analyzer.hull import hull
from analyzer.hull.steady_points import SteadyPoints
from analyzer.learned.charge_history import charges
from analyzer.learned.keys import points_before
from analyzer.pack.ageing import ageing
from analyzer.series.log import OpenLog
from analyzer.series.physics import GRAVITY
from logger.errors import LoggerError
from logger.store import Store, store

FROUDE = (0.15, 0.20, 0.25, 0.30, 0.35, 0.40)  # where hulls of any length are alike, assumed
Record = dict[str, Any]


@dataclass(frozen=True)
class Outcome:
    """What came of one log: a record, or why not.

    program: the worker's version. seconds: of the processor. peak_bytes: the most memory the
    worker has had so far. log_bytes: read.
    """

    record: Record | None
    reason: str = ""
    program: str = ""
    seconds: float = 0.0
    peak_bytes: int = 0
    log_bytes: int = 0


def work(log: LogRef) -> Outcome:
    """Looks at one log; what is wrong with it is a reason, never an exception."""
    start_s, copy, size = time.process_time(), Path("-"), 0
    record: Record | None = None
    reason = ""
    try:
        with fetched(log) as copy:
            size = copy.stat().st_size
            record = look(copy, log.boat)
    except (LoggerError, AnalyzerError, sqlite3.Error, OSError) as error:
        reason = str(error)
    except Exception as error:  # one odd log must not end a run of thousands
        reason = f"the analysis failed: {type(error).__name__}: {error}"
    reason = " ".join(reason.replace(str(copy), log.where).split())
    seconds = time.process_time() - start_s
    return Outcome(record, reason, program(), seconds, peak_bytes(), size)


def look(path: Path, boat: str | None = None) -> Record:
    """Looks a log through and asks it; results are kept in the log. As plain JSON.

    Args:
        boat: Text of a boat file, where the log keeps none.
    Returns:
        The answers of `trips`, `hull`, `cells`, `cables` and all flags, as `--json` gives them;
        the boat's numbers; its power curve at `FROUDE`; how it ages.
    Raises:
        LoggerError, AnalyzerError: As those.
    """
    with Store.open(path, write=True) as log:
        if boat is not None and log.boat_text() is None:
            log.save_boat(boat, 0)
    with answers.open_log(path, write=True) as log:
        log.refresh()
        with log.opened() as opened:
            numbers, curve, aged = _boat(opened), _curve(opened), _ageing(opened)
        found = {
            "boat": numbers,
            "trips": log.trips(),
            # Of the log, not of the day on which it is looked at.
            "hull": replace(log.hull(), data_age_s=None),
            "cells": replace(log.cells(), data_age_s=None),
            "cables": replace(log.cables(), data_age_s=None),
            "flags": [replace(flag, age_s=None) for flag in log.flags()],
            "curve": curve,
            "ageing": aged,
        }
    record: Record = json.loads(json.dumps(answers.to_json(found)))
    return record


def key(log: LogRef) -> str:
    """A name for the result: the log's content, the boat file given, the program's version.

    Raises:
        OSError: The log cannot be read.
    """
    return hashlib.sha256(f"{digest(log)} {program()} {log.boat or ''}".encode()).hexdigest()


@lru_cache(maxsize=1)
def program() -> str:
    """The program's version: its number, and a digest of the code that answers rest on."""
    try:
        number = version("keelwatt")
    except PackageNotFoundError:
        number = "0"
    whole = hashlib.sha256()
    for root in (Path(str(analyzer.__file__)).parent, Path(store.__file__).parent.parent):
        for path in sorted(root.rglob("*.py")):
            if "faces" not in path.relative_to(root).parts:
                whole.update(path.read_bytes())
    return f"{number}+{whole.hexdigest()[:12]}"


def peak_bytes() -> int:
    """The most memory this process has had; 0 where the system does not tell."""
    try:
        text = Path("/proc/self/status").read_text("ascii")
    except OSError:
        return 0
    for line in text.splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024
    return 0


def _boat(opened: OpenLog) -> Record:
    boat, span = opened.boat, opened.store.span()
    return {
        "name": boat.name,
        "hull_kind": boat.hull.kind,
        "waterline_m": boat.hull.waterline_m,
        "displacement_kg": boat.hull.displacement_kg,
        "chemistry": boat.pack.chemistry,
        "cells": boat.pack.cells_in_series,
        "rated_ah": boat.pack.rated_capacity_ah,
        "motor_w": boat.motor.rated_power_w,
        "first_utc_s": span[0] / 1e6 if span else None,
        "last_utc_s": span[1] / 1e6 if span else None,
    }


def _curve(opened: OpenLog) -> list[Record]:
    """Power at each Froude number, from all trips."""
    curve = hull.fit(SteadyPoints.join(points_before(opened, None)), hull.prior(opened.boat))
    speeds = np.array(FROUDE) * np.sqrt(GRAVITY * opened.boat.hull.waterline_m)
    seen = curve.seen_mps or (np.inf, -np.inf)
    return [
        {
            "froude": froude,
            "speed_water_mps": float(speed),
            "power": curve.power_w(float(speed)),
            "seen": bool(seen[0] <= speed <= seen[1]),
        }
        for froude, speed in zip(FROUDE, speeds, strict=True)
    ]


def _ageing(opened: OpenLog) -> Record:
    found = ageing(charges(opened))
    return {"capacity": found.capacity, "resistance": found.resistance, "remarks": found.remarks}
