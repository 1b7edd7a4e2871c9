"""Readings as CSV: one row per time; every column's name ends in its unit.

Columns: utc_s, seconds since 1970 UTC, empty where the boot's date is not known; the channels,
empty where nothing was measured; boot, the boot's name; t_mono_us, microseconds of its clock.
Numbers are written so that the same number is read back.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from io import StringIO
from itertools import groupby, islice
from pathlib import Path
from typing import BinaryIO, TextIO

import numpy as np

from analyzer.errors import BadImport
from analyzer.exchange import intake
from analyzer.exchange.rows import Ints, Rows, Stretch, rows
from logger.store import Boot, Store

UTC, BOOT, MONO = "utc_s", "boot", "t_mono_us"
FORMULA = ("=", "+", "-", "@", "\t", "\r")  # a cell of a formula begins so, OWASP CSV injection
LONGEST = 1 << 20  # characters of a line: 50,000 numbers, assumed
ROWS = 10_000  # written and read at a time, assumed


def write(store: Store, stretch: Stretch, out: BinaryIO) -> None:
    """Writes the readings, a head first.

    Args:
        stretch: What; see `rows.choose`.
        out: Bytes go here; it is not closed.
    """
    names = [UTC, *map(as_text, stretch.channels), BOOT, MONO]
    out.write(_lines([names]))
    for piece in rows(store, stretch):
        for start in range(0, len(piece.t_mono_us), ROWS):
            part = slice(start, start + ROWS)
            t_mono_us = piece.t_mono_us[part]
            utc_s = _seconds(t_mono_us, piece.utc_offset_us)
            cells = [
                ["" if v != v else v for v in column] for column in piece.values[part].T.tolist()
            ]
            boot = [as_text(piece.boot.uid)] * len(utc_s)
            out.write(_lines(zip(utc_s, *cells, boot, t_mono_us.tolist(), strict=True)))


def read(path: Path, store: Store) -> int:
    """Takes a CSV file of this form into an empty log; how many rows came.

    Raises:
        BadImport: It is not of this form.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            lines = csv.reader(_short(file, path))
            names = [_plain(name) for name in next(lines, [])]
            head = _Head.of(names, path)
            pieces = (rows for part in _parts(lines) for rows in head.rows(part))
            return intake.take_in(store, intake.Layout(head.channels), pieces)
    except (ValueError, ArithmeticError, IndexError, csv.Error) as error:
        if isinstance(error, BadImport):
            raise
        raise BadImport(f"{path} cannot be read as a table of readings: {error}") from error


def _lines(lines: Iterable[Sequence[object]]) -> bytes:
    """CSV of RFC 4180 but for its line ends; a float as its shortest text, read back the same."""
    text = StringIO()
    csv.writer(text, lineterminator="\n").writerows(lines)
    return text.getvalue().encode()


def as_text(text: str) -> str:
    """A cell that no table program takes for a formula: an apostrophe before it, as they do."""
    return f"'{text}" if text.startswith((*FORMULA, "'")) else text


def _plain(text: str) -> str:
    return text[1:] if text[:1] == "'" and text[1:].startswith((*FORMULA, "'")) else text


def _seconds(t_mono_us: Ints, offset_us: int | None) -> list[str]:
    if offset_us is None:
        return [""] * len(t_mono_us)
    utc_us = t_mono_us + offset_us
    digits, unit = (3, 1000) if not (utc_us % 1000).any() else (6, 1)
    return [f"{Decimal(int(u // unit)).scaleb(-digits):f}" for u in utc_us]


@dataclass(frozen=True)
class _Head:
    """Where what stands in a line."""

    channels: tuple[str, ...]
    columns: tuple[int, ...]
    utc: int
    boot: int
    mono: int

    @classmethod
    def of(cls, names: list[str], path: Path) -> "_Head":
        if not {UTC, BOOT, MONO} <= set(names):
            raise BadImport(
                f"{path} wants the columns {UTC}, {BOOT} and {MONO}, as `keelwatt export` writes "
                "them; for other tables there is `keelwatt replay --map`"
            )
        if len(set(names)) < len(names):
            raise BadImport(f"{path} has two columns of one name")
        channels = [n for n in names if n not in (UTC, BOOT, MONO)]
        return cls(
            intake.check_channels(channels, str(path)),
            tuple(names.index(n) for n in channels),
            *(names.index(n) for n in (UTC, BOOT, MONO)),
        )

    def rows(self, lines: list[list[str]]) -> Iterator[Rows]:
        """One piece for each boot, in the lines' order."""
        for uid, run in groupby(lines, key=lambda line: line[self.boot]):
            own = list(run)
            times = [int(line[self.mono]) for line in own]
            cells = [[float(line[k] or "nan") for k in self.columns] for line in own]
            shape = len(own), len(self.columns)
            values = np.array(cells).reshape(shape)
            boot = self._boot(uid, own[0][self.utc], times[0])
            t_mono_us = np.array(times, np.int64)
            yield Rows(boot, t_mono_us, values)

    def _boot(self, uid: str, utc_s: str, mono_us: int) -> Boot:
        name = _plain(uid)
        if not utc_s:
            return Boot(0, name, None, None, None, None, None)
        utc_us = int(Decimal(utc_s) * 1_000_000)
        return Boot(0, name, utc_us - mono_us, "file", None, None, None)


def _short(file: TextIO, path: Path) -> Iterator[str]:
    """The file's lines. Raises BadImport at one that has no end."""
    while line := file.readline(LONGEST):
        if len(line) == LONGEST:
            raise BadImport(f"{path} has a line of more than {LONGEST} characters: it is no table")
        yield line


def _parts(lines: Iterator[list[str]]) -> Iterator[list[list[str]]]:
    while part := [line for line in islice(lines, ROWS) if line]:
        yield part
