"""The whole log as one file, packed by zstd with its check sum: for another machine.

`.sqlite` is the log as it is; `.sqlite.zst` the same, smaller, and any zstd program unpacks it.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import zstandard

from analyzer.errors import BadImport
from logger.store import Store

LEVEL = 10  # of zstd's 22, assumed
PACKED = ".zst"


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
            file.seek(0)
            _, got = zstandard.ZstdDecompressor().copy_stream(file, out)
            out.flush()
            os.fsync(out.fileno())
    except zstandard.ZstdError as error:
        raise BadImport(f"{path} is damaged, or no packed log: {error}") from error
    if got != wanted:
        raise BadImport(f"{path} is cut off: it unpacks to {got} bytes of {wanted}")


def read(path: Path, to: Path) -> None:
    """Makes a new log of a packed one, or of a plain copy; older ones are brought up to date.

    Raises:
        BadImport: The file is damaged.
        StoreError: It is no log, or of a newer version; or there is a file of the new name.
    """
    with unpacked(path) as log, Store.open(log) as store:
        store.back_up(to)
