"""The power cut between any two writes while the ready card's table of partitions grows.

The image's own systemd-repart is run on a larger card, natively, and its writes are noted (strace).
For each moment, between two writes and in the middle of one, the card as it then is has to have a
table that a reader by the standard finds.

Source: UEFI Specification 2.10, section 5.3 (GUID Partition Table): a reader takes the primary
table where its two check sums hold, else the one in the card's last sector.
"""

import os
import re
import shutil
import struct
import subprocess
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bench import Bench
from image import copy_card
from machine import BoardError

SECTOR = 512
GROWN_BYTES = 2 * 2**30
Table = list[tuple[int, int]]  # each partition's first and last sector
Write = tuple[int, bytes]


def table_at(card: Path, sector: int) -> Table | None:
    """The table whose header is there; None where it does not hold."""
    with card.open("rb") as file:
        file.seek(sector * SECTOR)
        head = file.read(SECTOR)
        length, crc = struct.unpack_from("<II", head, 12)
        (own,) = struct.unpack_from("<Q", head, 24)
        if head[:8] != b"EFI PART" or own != sector or not 92 <= length <= SECTOR:
            return None
        if zlib.crc32(head[:16] + bytes(4) + head[20:length]) != crc:
            return None
        start, count, size, entries_crc = struct.unpack_from("<QIII", head, 72)
        file.seek(start * SECTOR)
        entries = file.read(count * size)
    if zlib.crc32(entries) != entries_crc:
        return None
    places = [struct.unpack_from("<QQ", entries, n * size + 32) for n in range(count)]
    return [(first, last) for first, last in places if first]


def found(card: Path) -> Table | None:
    """What a reader finds."""
    return table_at(card, 1) or table_at(card, card.stat().st_size // SECTOR - 1)


def scenario(bench: Bench) -> None:
    """Every moment of the table's growing."""
    if not shutil.which("strace"):
        raise BoardError("wants strace: apt install strace")
    with tempfile.TemporaryDirectory(dir=bench.work) as folder:
        card, at = Path(folder) / "card.img", Path(folder) / "at.img"
        for path in (card, at):
            copy_card(bench.ready, path)
            os.truncate(path, GROWN_BYTES)
        writes, flushed = _grown(bench, card)
        small, large = found(at), found(card)
        lost = []
        for number, (start, data) in enumerate(writes):
            for part in (len(data) // 2, len(data)):
                with at.open("r+b") as file:
                    file.seek(start)
                    file.write(data[:part])
                if found(at) not in (small, large):
                    lost.append(f"{number}: {part} of {len(data)} bytes")
    grows = bool(small and large) and _last_grew(small or [], large or [])
    bench.say("sectors of the partitions, before and after", f"{small}, {large}", grows)
    figure = "; ".join(lost) or "the old table or the new one"
    bench.say(f"found at each of {2 * len(writes)} moments", figure, bool(writes) and not lost)
    bench.say(
        "writes flushed before the next", f"{flushed} of {len(writes)}", flushed == len(writes)
    )


def _last_grew(small: Table, large: Table) -> bool:
    """Whether the last partition alone is larger, from the same sector on."""
    (first, last), (first_now, last_now) = small[-1], large[-1]
    return small[:-1] == large[:-1] and first == first_now and last < last_now


def _grown(bench: Bench, card: Path) -> tuple[list[Write], int]:
    """Grows the card's table; its writes in order, and how many a flush followed."""
    notes = card.with_suffix(".strace")
    with _system(bench, card) as root:
        command = ["systemd-repart", "--definitions=/etc/repart.d", "--dry-run=no", "/tmp/card.img"]
        traced = ["strace", "-f", "-y", "-e", "trace=lseek,write,pwrite64,fsync", "-o", str(notes)]
        done = subprocess.run(
            [*traced, "chroot", str(root), *command], capture_output=True, text=True, check=False
        )
    if done.returncode:
        raise BoardError(f"systemd-repart: {done.stderr[-300:]}")
    writes: list[Write] = []
    place = flushed = 0
    waiting = False
    for line in notes.read_text().split("\n"):
        if "card.img" not in line:
            continue
        if moved := re.search(r"lseek\(.*\) += (\d+)$", line):
            place = int(moved[1])
        elif "pwrite64(" in line:
            raise BoardError("systemd-repart writes in another way now")
        elif wrote := re.search(r"write\(.*\) += (\d+)$", line):
            with card.open("rb") as file:
                file.seek(place)
                writes.append((place, file.read(int(wrote[1]))))
            waiting = True
        elif "fsync(" in line:
            flushed += waiting
            waiting = False
    return writes, flushed


@contextmanager
def _system(bench: Bench, card: Path) -> Iterator[Path]:
    """The image's own system, with the card's file in its /tmp."""
    start, end = (found(bench.ready) or [(0, 0)] * 2)[1]
    root = Path(tempfile.mkdtemp(dir=bench.work))
    options = f"ro,loop,offset={start * SECTOR},sizelimit={(end - start + 1) * SECTOR}"
    mounts = (
        ["-t", "squashfs", "-o", options, str(bench.ready), str(root)],
        ["-t", "tmpfs", "tmpfs", str(root / "tmp")],
        ["-t", "proc", "proc", str(root / "proc")],
    )
    made = 0
    try:
        for one in mounts:
            subprocess.run(["mount", *one], check=True)
            made += 1
        (root / "tmp/card.img").touch()
        subprocess.run(["mount", "--bind", str(card), str(root / "tmp/card.img")], check=True)
        yield root
        subprocess.run(["umount", str(root / "tmp/card.img")], check=True)
    finally:
        for one in reversed(mounts[:made]):
            subprocess.run(["umount", "--lazy", one[-1]], check=False)
        root.rmdir()
