"""A log as files for other programs, and back; the boat file as it is written, and its copy.

None of it wants a boat: what was recorded without one can be taken away all the same.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from analyzer.exchange import forms, packed_log, parquet_days, rows
from analyzer.exchange.forms import Form, form_of
from logger import boat as boats
from logger.errors import StoreError
from logger.store import Store
from logger.store.backup import whole_file

__all__ = ["Form", "form_of"]


def export_days(log: Path, folder: Path, step_s: float | None = None) -> None:
    """Writes the whole log as Parquet: a folder by boat and day."""
    with Store.open(log) as store:
        parquet_days.write_folder(store, rows.choose(store, None, (), step_s), folder)


def copy(log: Path, out: Path) -> None:
    """Writes the whole log as one new file, also while it is recorded; packed as FILE.zst.

    Raises:
        StoreError: There is such a file already.
    """
    with Store.open(log) as store:
        if out.suffix != packed_log.PACKED:
            store.back_up(out)
            return
        if out.exists():
            raise StoreError(f"{out} is there already; name a new file for the log")
        with whole(out) as file:
            packed_log.write(store, file)


def make(
    log: Path,
    file: Path,
    boat_file: Path | None = None,
    look: Callable[[Path], None] | None = None,
) -> bool:
    """Makes a new log of what `Log.export` wrote, or of anybody's GPX track with times.

    The log gets its name last of all: one that is cut short leaves none, and can be done again.

    Args:
        boat_file: Kept in the log; None: the log's own, if it has one.
        look: Looks through the log, if it knows a boat.
    Returns:
        Whether the log knows a boat.
    """
    if boat_file is not None:
        boats.load(boat_file)
    knows_boat = False

    def finish(made: Path) -> None:
        nonlocal knows_boat
        with Store.open(made, write=True) as store:
            if boat_file is not None:
                store.save_boat(boat_file.read_text("utf-8-sig"), _now_us())
            knows_boat = store.boat_text() is not None
        if look and knows_boat:
            look(made)

    forms.read(file, log, finish)
    return knows_boat


@contextmanager
def whole(path: Path) -> Iterator[BinaryIO]:
    """A file that gets its name only when it is whole: a loss of power never leaves half of it.

    What is there already and no plain file, such as a device or a pipe, is written into instead.
    """
    if path.exists() and not path.is_file():
        with path.open("wb") as file:
            yield file
        return
    # a link's own name stays a link
    with whole_file(path.resolve()) as part, part.open("r+b") as file:
        yield file


def boat_text(boat_file: Path | None, log: Path) -> tuple[str, str]:
    """The boat file's text and where it is; the log's own copy where there is no file."""
    if boat_file is not None:
        text = boat_file.read_text("utf-8-sig") if boat_file.exists() else ""
        return text, str(boat_file)
    if not log.is_file():
        return "", "not yet written"
    with Store.open(log) as store:
        return store.boat_text() or "", "the copy kept in the log"


def save_boat(boat_file: Path | None, log: Path, text: str) -> None:
    """Puts a boat file in the place of the old, if nothing is wrong with it.

    Raises:
        BoatFileError: What is wrong, a sentence a line; the old one stays.
    """
    boats.parse(text, boat_file.name if boat_file else "boat.toml")
    if boat_file is not None:
        boat_file.parent.mkdir(parents=True, exist_ok=True)
        with whole(boat_file) as file:
            file.write(text.encode())
    if log.is_file():
        with Store.open(log, write=True) as store:
            store.save_boat(text, _now_us())


def _now_us() -> int:
    return time.time_ns() // 1000
