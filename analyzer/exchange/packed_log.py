"""The whole log as one file, packed by zstd with its check sum: for another machine.

`.sqlite` is the log as it is; `.sqlite.zst` the same, smaller, and any zstd program unpacks it.
"""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import BinaryIO

import zstandard

from analyzer.errors import BadImport
from logger.store import Store

LEVEL = 10  # of zstd's 22, assumed
PACKED = ".zst"
WINDOW = 1 << 27  # ZSTD_WINDOWLOG_LIMIT_DEFAULT in <zstd.h>, by definition
# A log is packed inside already (the demo's to 0.6 of its size; an empty one to a hundredth). More
# than this, of so many bytes, is no log but a trap; assumed.
MOST_RATIO, TRAP_BYTES = 300, 1 << 28


def write(store: Store, out: BinaryIO) -> None:
    """Writes one state of the log, packed, also while a recorder is at work.

    Args:
        out: Bytes go here; it is not closed.
    Raises:
        StoreError: It cannot be copied.
    """
    with tempfile.TemporaryDirectory(prefix="keelwatt-") as folder:
        copy = Path(folder) / "log.sqlite"
        store.back_up(copy)
        packer = zstandard.ZstdCompressor(LEVEL, write_checksum=True)
        with copy.open("rb") as file:
            packer.copy_stream(file, out, size=copy.stat().st_size)


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """The log as SQLite wants it: the file itself, or its contents in a temporary folder.

    Raises:
        BadImport: The packed file is damaged.
    """
    if path.suffix != PACKED:
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="keelwatt-") as folder:
        copy = Path(folder) / "log.sqlite"
        unpack(path, copy)
        yield copy


def unpack(path: Path, to: Path) -> None:
    """Unpacks a file to a new one. Raises BadImport."""
    try:
        with path.open("rb") as file, to.open("wb") as out:
            wanted = zstandard.get_frame_parameters(file.read(18)).content_size
            _refuse_trap(path, wanted, to)
            file.seek(0)
            unpacker = zstandard.ZstdDecompressor(max_window_size=WINDOW)
            got = 0
            for piece in unpacker.read_to_iter(file):
                got += len(piece)
                if got > wanted:
                    break
                out.write(piece)
            out.flush()
            os.fsync(out.fileno())
    except zstandard.ZstdError as error:
        raise BadImport(f"{path} is damaged, or no packed log: {error}") from error
    if got != wanted:
        raise BadImport(f"{path} is cut off: it unpacks to {got} bytes of {wanted}")


def _refuse_trap(path: Path, wanted: int, to: Path) -> None:
    """Raises BadImport where a file says that it unpacks to more than a log, or the disk, has."""
    packed, free = path.stat().st_size, shutil.disk_usage(to.parent).free
    if wanted > max(TRAP_BYTES, MOST_RATIO * packed):
        raise BadImport(
            f"{path} is no packed log: it unpacks to more than {MOST_RATIO} times its size, or "
            "does not say to how much"
        )
    if wanted > free:
        raise BadImport(
            f"{path} unpacks to {wanted / 1e6:.0f} MB, and {to.parent} has {free / 1e6:.0f} MB "
            "free; make room"
        )


def read(path: Path, to: Path) -> None:
    """Fills an empty file with a packed log, or a plain copy; older ones are brought up to date.

    Raises:
        BadImport: The file is damaged, or would act by itself.
        StoreError: It is no log, or of a newer version.
    """
    with unpacked(path) as log, Store.open(log) as store:
        _refuse_acts(path, log)
        store.copy_into(to)


def _refuse_acts(path: Path, log: Path) -> None:
    """Raises BadImport where a strange log holds what SQLite runs by itself as it is written to."""
    ask = "SELECT name FROM sqlite_schema WHERE type IN ('trigger', 'view')"
    with closing(sqlite3.connect(f"{log.resolve().as_uri()}?mode=ro", uri=True)) as db:
        acts = db.execute(ask).fetchone()
    if acts:
        raise BadImport(
            f"{path} holds the trigger or view {acts[0]!r}: keelwatt makes none, so it may change "
            "the log by itself; ask whoever it comes from"
        )
