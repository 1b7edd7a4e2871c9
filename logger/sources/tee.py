"""Raw copies of what came, so that a trip can be replayed later through better decoders.

Any live source but the board's sensors takes, in its options:

    raw = true                 # default false
    raw_file_mb = 16           # a file is closed at this size
    raw_keep_mb = 512          # oldest files of this source are removed beyond this

Files are plain text in the folder `raw` beside the log: CAN log text, or lines each led by
"(seconds) name ". Seconds are UTC where the log knew it when the file was begun, else the boot's
own clock. What was not yet synced at a power cut is lost; a torn last line is skipped on reading.
"""

import os
import time
from pathlib import Path
from typing import TextIO

from logger.decode.frames import EXTENDED, FrameBatch
from logger.sources.now import mono_us
from logger.sources.options import Options

RAW_KEYS = ("raw", "raw_file_mb", "raw_keep_mb")
FLUSH_S = 10.0


class RawFile:
    """One source's raw files, rotated and bounded.

    Args:
        folder: Made where it is not there.
        name: The source's name; files are called <name>-<time>.log.
        file_bytes, keep_bytes: Size at which a file is closed, and of all files together.
        utc_offset_us: UTC minus monotonic time, None while unknown; asked at each new file.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        file_bytes: int = 16_000_000,
        keep_bytes: int = 512_000_000,
        utc_offset_us: int | None = None,
    ) -> None:
        self._folder, self._name = folder, name
        self._file_bytes, self._keep_bytes = file_bytes, keep_bytes
        self.utc_offset_us = utc_offset_us
        self._offset = 0
        self._file: TextIO | None = None
        self._size, self._synced_s = 0, time.monotonic()

    def line(self, t_us: int, name: str, text: str) -> None:
        """Keeps a line."""
        self._write(f"({self._stamp(t_us)}) {name} {text}\n")

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
        self._write("".join(lines))

    def close(self) -> None:
        """Closes the present file. May be called twice."""
        if self._file:
            self._file.close()
            self._file = None

    def _stamp(self, t_us: int) -> str:
        if self._file is None:
            self._begin()
        whole, part = divmod(t_us + self._offset, 1_000_000)
        return f"{whole:010d}.{part:06d}"

    def _begin(self) -> None:
        self._offset = self.utc_offset_us or 0
        self._folder.mkdir(parents=True, exist_ok=True)
        moment = (mono_us() + self._offset) // 1_000_000
        path = self._folder / f"{self._name}-{moment:010d}.log"
        self._file = path.open("a", encoding="latin-1", newline="")
        self._size = path.stat().st_size
        self._make_room()

    def _write(self, text: str) -> None:
        if not text:
            return
        if self._file is None:
            self._begin()
        assert self._file
        self._file.write(text)
        self._size += len(text)
        now = time.monotonic()
        if now - self._synced_s >= FLUSH_S:
            self._synced_s = now
            self._file.flush()
            os.fdatasync(self._file.fileno())
        if self._size >= self._file_bytes:
            self.close()

    def _make_room(self) -> None:
        """Removes the oldest files of this source beyond the bound."""
        files = sorted(self._folder.glob(f"{self._name}-*.log"), key=lambda p: p.stat().st_mtime)
        sizes = [path.stat().st_size for path in files]
        total = sum(sizes)
        for path, size in list(zip(files, sizes, strict=True))[:-1]:
            if total <= self._keep_bytes:
                break
            path.unlink(missing_ok=True)
            total -= size


def raw_file(options: Options, folder: Path | None) -> RawFile | None:
    """The raw file that a source's options ask for; None where they do not, or without folder."""
    file_mb = options.number("raw_file_mb", 16.0, 0.001, 10_000)
    keep_mb = options.number("raw_keep_mb", 512.0, 0.001, 1_000_000)
    if not options.flag("raw", False) or folder is None:
        return None
    return RawFile(folder, options.source, int(file_mb * 1e6), int(keep_mb * 1e6))
