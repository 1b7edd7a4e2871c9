"""Plays recorded files into a log, then looks through what came: what `demo` and `replay` share."""

from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.answers import Log
from analyzer.faces.cli.base.progress import Bar
from analyzer.faces.cli.base.remarks import tell_user

if TYPE_CHECKING:
    from replay.into_log import Played, Recordings


def play_into(
    log: Path, played: "Recordings", boat_file: Path | None, pace: float | None = None
) -> "Played":
    """Records the files into the log, and finds trips and flags; see `replay.into_log`."""
    from replay import into_log

    with Bar(f"Playing {', '.join(path.name for path in played.files)}") as bar:
        done = into_log.play_into(log, played, boat_file, pace, bar)
    for remark in done.remarks:
        tell_user(f"{remark}.")
    if done.knows_boat and done.account.readings:
        look_through(log, boat_file)
    return done


def look_through(log: Path, boat_file: Path | None) -> None:
    """Finds trips and runs the watch over what is new in the log."""
    with Bar("Looking for trips and faults") as bar:
        Log(log, boat_file).refresh(bar)


def remove_log(log: Path) -> None:
    """Removes a log and what SQLite keeps beside it."""
    for tail in ("", "-wal", "-shm"):
        log.with_name(log.name + tail).unlink(missing_ok=True)
