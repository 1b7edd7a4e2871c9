"""What the recorder has to do, out of the boat file, as plain data.

A boat file is read and checked by pydantic (`logger.boat`). The recorder runs for years on a small
board and has no further use for what that brings into memory (17 MB), so a short-lived process
reads the file and hands over what is wanted.
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from logger.errors import BoatFileError

KEYS = ("flush_s", "full_rate_days", "log_limit_mb")


@dataclass(frozen=True, slots=True)
class SourceConfig:
    """One way in, as `logger.boat.SourceSpec` has it."""

    name: str
    kind: str
    options: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class RecorderConfig:
    """What the recorder wants to know of a boat, as `logger.boat.Boat` has it."""

    source: tuple[SourceConfig, ...]
    folder: Path
    flush_s: float
    full_rate_days: float
    log_limit_mb: float | None


def load(path: Path | str) -> RecorderConfig:
    """Reads and checks a boat file in a process of its own.

    Raises:
        BoatFileError: As `logger.boat.load`.
    """
    command = [sys.executable, "-m", "logger.daemon.config", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=_env())
    if done.returncode == 2:
        raise BoatFileError(done.stderr.rstrip("\n"))
    if done.returncode:
        last = done.stderr.strip().rpartition("\n")[2]
        raise BoatFileError(f"{path}: the boat file cannot be read: {last}")
    told = json.loads(done.stdout)
    sources = tuple(SourceConfig(**entry) for entry in told.pop("source"))
    return RecorderConfig(sources, Path(path).parent, **told)


def _env() -> dict[str, str]:
    """So that `logger` is found also where it is not installed."""
    root, known = str(Path(__file__).resolve().parent.parent.parent), os.environ.get("PYTHONPATH")
    return {**os.environ, "PYTHONPATH": os.pathsep.join([root, known] if known else [root])}


def main(path: str) -> int:
    """The short-lived process: prints what `load` takes."""
    from logger import boat as boat_file

    try:
        boat = boat_file.load(path)
    except BoatFileError as error:
        print(error, file=sys.stderr)
        return 2
    told: dict[str, object] = {key: getattr(boat, key) for key in KEYS}
    told["source"] = [
        {"name": spec.name, "kind": spec.kind, "options": spec.options} for spec in boat.source
    ]
    print(json.dumps(told, default=str))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
