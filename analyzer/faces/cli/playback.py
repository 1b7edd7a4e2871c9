"""Plays recorded files into a log, then looks through what came: what `demo` and `replay` share."""

import time
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.faces.cli.bar import Bar
from analyzer.faces.questions import LogDesk

if TYPE_CHECKING:
    from logger.reading import Source
    from logger.store import Store

FLAT_OUT = None  # the player's pace that waits for nothing


def shipped_demo() -> tuple[Path, list[Path]]:
    """The invented outing that comes with the program: its boat file and its recordings."""
    import replay

    folder = Path(replay.__file__).parent / "demo"
    kinds = ("*.log", "*.log.*", "*.nmea", "*.nmea.*")
    return folder / "boat.toml", sorted(path for kind in kinds for path in folder.glob(kind))


def play_into(
    log: Path,
    files: Sequence[Path],
    boat_file: Path | None,
    *,
    maps: Sequence[Path] = (),
    dbcs: Sequence[Path] = (),
    pace: float | None = FLAT_OUT,
) -> bool:
    """Records the files into the log as if they arrived now, and finds trips and flags.

    Args:
        log: Made where it is not there yet.
        boat_file: Kept in the log; None: the files' own maps say everything.
        maps, dbcs: Column maps for CSV files, and CAN databases.
        pace: None flat out, 1 real time, N for N times as fast.
    Returns:
        Whether the log knows a boat, so that questions about it can be asked.
    """
    from logger import boat as boats
    from logger.store import Store
    from replay import player

    boat = boats.load(boat_file) if boat_file else None
    source = player.open_recordings(list(files), boat, maps=list(maps), dbcs=list(dbcs))
    log.parent.mkdir(parents=True, exist_ok=True)
    with Store.open(log, write=True) as store:
        if boat_file:
            store.save_boat(boat_file.read_text("utf-8"), _now_us())
        _record(source, store, files, pace)
        knows_boat = store.boat_text() is not None
    if knows_boat:
        look_through(log, boat_file)
    return knows_boat


def look_through(log: Path, boat_file: Path | None) -> None:
    """Finds trips and runs the watch over what is new in the log."""
    with Bar("Looking for trips and faults") as bar:
        LogDesk(log, boat_file).refresh(bar)


def remove_log(log: Path) -> None:
    """Removes a log and what SQLite keeps beside it."""
    for tail in ("", "-wal", "-shm"):
        log.with_name(log.name + tail).unlink(missing_ok=True)


def _record(source: "Source", store: "Store", files: Sequence[Path], pace: float | None) -> None:
    from replay import player

    writer = store.writer(f"replay-{uuid.uuid4()}")
    try:
        with Bar(f"Playing {', '.join(path.name for path in files)}") as bar:
            player.play(source, writer, pace, bar)
    finally:
        writer.close()
        source.close()


def _now_us() -> int:
    return time.time_ns() // 1000
