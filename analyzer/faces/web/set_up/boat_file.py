"""The boat file as the pages read and write it, and its copy in the log."""

import os
import time
from pathlib import Path

from logger import boat as boats
from logger.store import Store


def text(path: Path | None, log: Path) -> tuple[str, str]:
    """The boat file's text and where it is; the log's own copy where there is no file."""
    if path is not None:
        return path.read_text("utf-8-sig"), str(path)
    if not log.is_file():
        return "", "not yet written"
    with Store.open(log) as store:
        return store.boat_text() or "", "the copy kept in the log"


def save(path: Path | None, log: Path, written: str) -> None:
    """Puts a boat file in the place of the old, if nothing is wrong with it; whole or not.

    Raises:
        BoatFileError: What is wrong, a sentence a line; the old one stays.
    """
    boats.parse(written, path.name if path else "boat.toml")
    if path is not None:
        _replace(path, written)
    if log.is_file():
        with Store.open(log, write=True) as store:
            store.save_boat(written, time.time_ns() // 1000)


def _replace(path: Path, written: str) -> None:
    """Writes a file so that a loss of power leaves the old or the new one, never half."""
    beside = path.with_name(path.name + ".new")
    with beside.open("w", encoding="utf-8") as file:
        file.write(written)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
