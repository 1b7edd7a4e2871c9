"""Recorded files, plain or compressed, as streams of bytes."""

import gzip
import io
from pathlib import Path
from typing import BinaryIO, cast

from logger.errors import RecordingError

GZIP = b"\x1f\x8b"
ZSTD = b"\x28\xb5\x2f\xfd"


def open_bytes(path: Path) -> BinaryIO:
    """Opens a file; .gz and .zst contents are recognised by their first bytes.

    Raises:
        RecordingError: No such file, or it cannot be read.
    """
    try:
        raw = path.open("rb")
        head = raw.read(4)
        raw.seek(0)
        if head.startswith(GZIP):
            raw.close()
            return cast(BinaryIO, gzip.open(path, "rb"))
    except OSError as error:
        text = error.strerror or str(error)
        raise RecordingError(f"{path}: wants a recording to read, got: {text}") from error
    if head == ZSTD:
        import zstandard

        reader = zstandard.ZstdDecompressor().stream_reader(raw, read_across_frames=True)
        return cast(BinaryIO, io.BufferedReader(cast(io.RawIOBase, reader)))
    return raw


def read_piece(stream: BinaryIO, size: int, path: Path) -> tuple[bytes, bool]:
    """The next piece and whether the file broke off there.

    A compressed file that was cut off (power lost while it was written) is read up to the tear.
    """
    try:
        return stream.read(size), False
    except EOFError:
        return b"", True
    except OSError as error:
        raise RecordingError(f"{path}: cannot be read further: {error}") from error
    except Exception as error:
        if type(error).__module__.startswith(("zstandard", "zlib")):
            return b"", True
        raise
