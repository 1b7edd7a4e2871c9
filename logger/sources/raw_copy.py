"""Raw copies of what came, so that a trip can be replayed later through better decoders.

Any live source but the board's sensors takes, in its options:

    raw = true                 # default false
    raw_file_mb = 16           # a file is closed at this size
    raw_keep_mb = 512          # oldest files of this source are removed beyond this

Files are plain text in the folder `raw` beside the log: CAN log text, or lines each led by
"(seconds) name ". Seconds are UTC where the log knew it when the file was begun, else the boot's
own clock. Files are numbered on, so that a board that does not know the date still knows which is
the oldest. What was not yet synced at a power cut is lost; a torn last line is skipped on reading.

The readings do not hang on the copies: where a copy cannot be written (the disk is full), its
lines are counted as raw_lost, and it is tried again later.
"""

import contextlib
import errno
import io
import logging
import os
import time
from pathlib import Path

from logger.decode.can.frames import EXTENDED, FrameBatch
from logger.decode.counters import Counters
from logger.sources.options import Options

RAW_KEYS = ("raw", "raw_file_mb", "raw_keep_mb")
FLUSH_S = 10.0  # assumed
AGAIN_S = 10.0  # after a copy could not be written, assumed
PIECE = 65536  # bytes gathered before they are written, assumed
log = logging.getLogger("keelwatt")


class RawFile:
    """One source's raw files, rotated and bounded.

    Args:
        folder: Made where it is not there.
        name: The source's name; files are called <name>-<number>.log.
        file_bytes, keep_bytes: Size at which a file is closed, and of all files together.
        utc_offset_us: UTC minus monotonic time, None while unknown; asked at each new file.
        counters: Takes raw_lost.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        file_bytes: int = 16_000_000,
        keep_bytes: int = 512_000_000,
        utc_offset_us: int | None = None,
        counters: Counters | None = None,
    ) -> None:
        self._folder, self._name = folder, name
        self._file_bytes, self._keep_bytes = file_bytes, keep_bytes
        self.utc_offset_us = utc_offset_us
        self._counters = counters or Counters(name)
        self._offset = 0
        self._file: io.FileIO | None = None
        self._size, self._synced_s, self._again_s = 0, time.monotonic(), 0.0
        self._waiting: list[str] = []  # lines
        self._waiting_bytes = 0

    def line(self, t_us: int, name: str, text: str) -> None:
        """Keeps a line."""
        self._take([f"({self._stamp(t_us)}) {name} {text}\n"])

    def frames(self, batch: FrameBatch, name: str) -> None:
        """Keeps frames as CAN log text."""
        lines = []
        rows = zip(batch.t_us.tolist(), batch.ids.tolist(), batch.lengths.tolist(), strict=True)
        width, raw = batch.data.shape[1], batch.data.tobytes().hex().upper()
        for row, (t_us, can_id, length) in enumerate(rows):
            number = f"{can_id & ~EXTENDED:08X}" if can_id & EXTENDED else f"{can_id:03X}"
            data = raw[2 * row * width : 2 * (row * width + length)]
            mark = "##0" if length > 8 else "#"
            lines.append(f"({self._stamp(t_us)}) {name} {number}{mark}{data}\n")
        self._take(lines)

    def close(self) -> None:
        """Writes what waits and closes the present file. May be called twice."""
        self._put()
        self._let_go()

    # -- inside ---------------------------------------------------------------------------------

    def _stamp(self, t_us: int) -> str:
        if self._file is None and not self._waiting:
            self._offset = self.utc_offset_us or 0  # one clock throughout a file
        whole, part = divmod(t_us + self._offset, 1_000_000)
        return f"{whole:010d}.{part:06d}"

    def _take(self, lines: list[str]) -> None:
        self._waiting += lines
        self._waiting_bytes += sum(map(len, lines))
        late = time.monotonic() - self._synced_s >= FLUSH_S
        if late or self._waiting_bytes >= min(PIECE, self._file_bytes):
            self._put()

    def _put(self) -> None:
        """Writes what waits; a full disk costs the copy its lines and the readings nothing."""
        lines, self._waiting, self._waiting_bytes = self._waiting, [], 0
        if not lines:
            return
        now = time.monotonic()
        if now < self._again_s:
            self._counters.add("raw_lost", len(lines))
            return
        try:
            self._write("".join(lines).encode("latin-1", "replace"), now)
        except OSError as error:
            self._counters.add("raw_lost", len(lines))
            self._again_s = now + AGAIN_S
            self._let_go()
            log.warning(
                "source %s: its raw copy cannot be written: %s",
                self._name,
                error,
                extra={"source": self._name},
            )

    def _write(self, data: bytes, now: float) -> None:
        if self._file is None:
            self._file = self._opened()
        if self._file.write(data) < len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._size += len(data)
        if now - self._synced_s >= FLUSH_S:
            self._synced_s = now
            os.fdatasync(self._file.fileno())
        if self._size >= self._file_bytes:
            self._let_go()

    def _opened(self) -> io.FileIO:
        self._folder.mkdir(parents=True, exist_ok=True)
        self._make_room()
        number = max(map(number_of, raw_files(self._folder)), default=0) + 1
        self._size = 0
        return (self._folder / f"{self._name}-{number:06d}.log").open("ab", buffering=0)

    def _let_go(self) -> None:
        if self._file:
            with contextlib.suppress(OSError):
                self._file.close()
            self._file = None

    def _make_room(self) -> None:
        """Removes the oldest files of this source, so that the next one fits into the bound."""
        files = [p for p in raw_files(self._folder) if p.name.rpartition("-")[0] == self._name]
        sizes = [path.stat().st_size for path in files]
        total = sum(sizes) + self._file_bytes
        for path, size in zip(files, sizes, strict=True):
            if total <= self._keep_bytes:
                break
            path.unlink(missing_ok=True)
            total -= size


def raw_files(folder: Path) -> list[Path]:
    """The raw files of a folder, the oldest first."""
    return sorted(folder.glob("*-*.log"), key=number_of)


def number_of(path: Path) -> int:
    """A raw file's number; 0 where it has none."""
    text = path.stem.rpartition("-")[2]
    return int(text) if text.isdecimal() else 0


def raw_file(options: Options, folder: Path | None, counters: Counters) -> RawFile | None:
    """The raw file that a source's options ask for; None where they do not, or without folder."""
    file_mb = options.number("raw_file_mb", 16.0, 0.001, 10_000)
    keep_mb = options.number("raw_keep_mb", 512.0, 0.001, 1_000_000)
    if not options.flag("raw", False) or folder is None:
        return None
    return RawFile(
        folder, options.source, int(file_mb * 1e6), int(keep_mb * 1e6), counters=counters
    )
