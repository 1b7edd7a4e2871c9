"""Copies the log whole, also while it is being written: copy-log.py FROM TO.

Knows nothing of what is in it, so that any release can copy any other's log, as updating wants.
"""

import os
import sqlite3
import sys
from contextlib import closing
from pathlib import Path


def copy(source: Path, target: Path) -> None:
    """Copies and checks; the target only gets its name when it is whole.

    Raises:
        OSError: The source is not there.
        sqlite3.Error: It cannot be read, there is no room, or the copy is not whole.
    """
    if not source.is_file():
        raise FileNotFoundError(f"there is no log at {source}")
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    with (
        closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as log,
        closing(sqlite3.connect(part)) as made,
    ):
        log.backup(made)
        made.execute("PRAGMA user_version = 0")  # a log's word that a journal belongs to it
        if made.execute("PRAGMA quick_check").fetchone() != ("ok",):
            raise sqlite3.DatabaseError("the copy is not whole")
    with part.open("rb+") as written:
        os.fsync(written.fileno())
    part.replace(target)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("keelwatt: usage: copy-log.py FROM TO")
    try:
        copy(Path(sys.argv[1]), Path(sys.argv[2]))
    except (OSError, sqlite3.Error) as error:
        Path(sys.argv[2] + ".part").unlink(missing_ok=True)
        sys.exit(f"keelwatt: {sys.argv[1]} could not be copied: {error}")
