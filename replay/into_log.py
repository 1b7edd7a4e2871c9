"""Recorded files played into a log as if they arrived now, and the outing that is shipped."""

import time
import uuid
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import replay
from logger import boat as boats
from logger.account import Account
from logger.errors import StoreError
from logger.store import Store
from logger.store.transaction import failure_said
from replay import player
from replay.account import Tally
from replay.player import Progress

FLAT_OUT = None  # the player's pace that waits for nothing
UNFINISHED = "replaying-"  # a boot's name until all of the recording is in the log


@dataclass(frozen=True)
class Played:
    """knows_boat: Whether the log knows one, so that questions about it can be asked.
    remarks: What of the files could not be read, a sentence each. account: What became of it all.
    """

    knows_boat: bool
    remarks: tuple[str, ...]
    account: Account


@dataclass(frozen=True)
class Recordings:
    """Files to be played together, with column maps for CSV files and CAN databases."""

    files: Sequence[Path]
    maps: Sequence[Path] = ()
    dbcs: Sequence[Path] = ()


def shipped_demo() -> tuple[Path, Recordings]:
    """The invented outing that comes with the program: its boat file and its recordings."""
    folder = Path(replay.__file__).parent / "demo"
    kinds = ("*.log", "*.log.*", "*.nmea", "*.nmea.*")
    files = sorted(path for kind in kinds for path in folder.glob(kind))
    return folder / "boat.toml", Recordings(files)


def play_into(
    log: Path,
    played: Recordings,
    boat_file: Path | None,
    pace: float | None = FLAT_OUT,
    progress: Progress | None = None,
) -> Played:
    """Records the files into the log as if they arrived now.

    Args:
        log: Made where it is not there yet.
        boat_file: Kept in the log; None: the files' own maps say everything.
        pace: None flat out, 1 real time, N for N times as fast.
    Raises:
        LoggerError: A file, the boat file or the log cannot be used, or rows were not kept.
    """
    boat = boats.load(boat_file) if boat_file else None
    source = player.open_recordings(
        list(played.files), boat, maps=list(played.maps), dbcs=list(played.dbcs)
    )
    log.parent.mkdir(parents=True, exist_ok=True)
    with closing(source), Store.open(log, write=True) as store:
        if boat_file:
            store.save_boat(boat_file.read_text("utf-8"), time.time_ns() // 1000)
        name = uuid.uuid4()
        writer = store.writer(f"{UNFINISHED}{name}")
        _drop_unfinished(store, f"{UNFINISHED}{name}")
        try:
            with failure_said(log):
                tally = Tally(writer)
                player.play(source, tally, pace, progress)
        finally:
            writer.close()
        if writer.dropped:
            raise StoreError(
                f"{log}: {writer.dropped} rows were not kept, as the disk had no room or the log "
                "was held; make room, remove the log and play again"
            )
        account = tally.account(source.counters)
        store.rename_boot(f"{UNFINISHED}{name}", f"replay-{name}")
        return Played(store.boat_text() is not None, tuple(_remarks(source)), account)


def _drop_unfinished(store: Store, own: str) -> None:
    """What a replay that was killed has left would stand beside the same readings, played again."""
    for boot in store.boots():
        if boot.uid.startswith(UNFINISHED) and boot.uid != own:
            store.drop_boot(boot.uid)


def _remarks(source: player.Player) -> Iterator[str]:
    for name, counters in source.counters.items():
        if counters["torn"]:
            yield f"{name} breaks off: what came before is played"
