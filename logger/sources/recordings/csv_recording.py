"""A CSV table through a column map (see `logger.decode.column_map`). Values are kept exactly."""

import csv
import itertools
import math
from collections.abc import Iterator
from datetime import datetime, tzinfo
from pathlib import Path

import numpy as np
import numpy.typing as npt

from logger.channels import find
from logger.decode.column_map import TIME_UNITS, ColumnMap, ColumnTarget
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.reading import (
    EXACT,
    Block,
    Group,
    Item,
)
from logger.sources.recordings.opened import LATEST_US, is_torn, open_bytes, text_lines

BATCH = 20_000  # rows of a batch, assumed
_NOTHING = {"", "nan", "na", "n/a", "null", "none", "-"}


class CsvRecording:
    """A CSV file as a `Recording`.

    Args:
        path: The file; its first line names the columns.
        columns: The column map.
        name: First part of the group's key.
        counters: Takes frames (rows), syntax, out_of_limits.
    Raises:
        RecordingError: A mapped column is not in the file.
    """

    def __init__(self, path: Path, columns: ColumnMap, name: str, counters: Counters) -> None:
        self.path, self.reached_us = path, 0
        self.origin_us = 0 if columns.is_utc else None
        self._map, self._counters = columns, counters
        self._size, self._rows_read, self._done = max(path.stat().st_size, 1), 0, False
        self._bytes = open_bytes(path)
        text = text_lines(self._bytes, lambda: counters.add("syntax"), "utf-8-sig")
        self._text = text
        told = (line for line in text if not _left_out(line, columns.comment))
        self._rows = csv.reader(told, delimiter=columns.delimiter)
        try:
            header = [part.strip() for part in self._first_row()]
            self._targets = tuple(t for t in columns.columns if self._has(header, t))
            self._time_places = [self._time_place(header, name) for name in columns.time_columns]
        except BaseException:
            text.close()
            raise
        self._places = [header.index(target.column) for target in self._targets]
        channels = tuple(target.channel for target in self._targets)
        self._group = Group(f"{name}/csv", channels, (EXACT,) * len(channels))

    @property
    def fraction(self) -> float:
        """By rows read and a guess at their length; exact at the end."""
        guess = 8 * max(len(self._places), 1) * self._rows_read / self._size
        return 1.0 if self._done else min(0.99, guess)

    def batch(self) -> list[Item] | None:
        """The next rows as a block."""
        rows = list(itertools.islice(self._lines(), BATCH))
        if not rows:
            self._counters.add("torn", is_torn(self._bytes))
            self._done = True
            self.close()
            return None
        first = self._rows_read
        self._rows_read += len(rows)
        self._counters.add("frames", len(rows))
        t_us = self._times(rows, first)
        values = np.column_stack(
            [
                self._column(rows, place, target)
                for place, target in zip(self._places, self._targets, strict=True)
            ]
        )
        good = (t_us >= 0) & (t_us < LATEST_US)
        self._counters.add("syntax", int(np.count_nonzero(~good)))
        order = np.flatnonzero(good)[np.argsort(t_us[good], kind="stable")]
        if len(order):
            self.reached_us = max(self.reached_us, int(t_us[order[-1]]))
        kept = order[~np.isnan(values[order]).all(axis=1)]
        return [Block(self._group, t_us[kept], values[kept])] if len(kept) else []

    def close(self) -> None:
        """Lets the file go."""
        self._text.close()

    def _first_row(self) -> list[str]:
        try:
            return next(self._rows, [])
        except csv.Error as error:
            raise RecordingError(f"{self.path}: is no CSV table: {error}") from error

    def _lines(self) -> Iterator[list[str]]:
        while True:
            try:
                row = next(self._rows)
            except StopIteration:
                return
            except csv.Error:  # as of a quotation mark without its second
                self._counters.add("syntax")
                continue
            if row:
                yield row

    def _has(self, header: list[str], target: ColumnTarget) -> bool:
        if target.column in header:
            return True
        if target.optional:
            return False
        raise RecordingError(
            f"{self.path}, line 1: wants a column {target.column!r} as {self._map.where} says, "
            f"got {', '.join(header)[:200]}"
        )

    def _time_place(self, header: list[str], name: str) -> int:
        if name not in header:
            raise RecordingError(
                f"{self.path}, line 1: wants the time column {name!r} as {self._map.where} "
                f"says, got {', '.join(header)[:200]}"
            )
        return header.index(name)

    def _times(self, rows: list[list[str]], first: int) -> npt.NDArray[np.int64]:
        unit = self._map.time_unit
        if not self._time_places:
            numbers = np.arange(first, first + len(rows))
            steps: npt.NDArray[np.int64] = np.rint(numbers * self._map.step_s * 1e6).astype(
                np.int64
            )
            return steps
        texts = [
            " ".join(row[place] if place < len(row) else "" for place in self._time_places)
            for row in rows
        ]
        if unit == "iso":
            return np.array([_iso_us(text, self._map.zone) for text in texts], np.int64)
        if unit == "date":
            return np.array([self._date_us(text) for text in texts], np.int64)
        seconds = np.array([self._number(text) for text in texts])
        usable = np.nan_to_num(seconds * TIME_UNITS[unit], nan=-1.0, posinf=-1.0, neginf=-1.0)
        return np.rint(np.clip(usable, -1, 9e18)).astype(np.int64)

    def _date_us(self, text: str) -> int:
        try:
            moment = datetime.strptime(text.strip(), self._map.time_format)
        except ValueError:
            return -1
        return round(moment.replace(tzinfo=self._map.zone).timestamp() * 1e6)

    def _number(self, text: str) -> float:
        return _number(text.replace(self._map.decimal, ".") if self._map.decimal != "." else text)

    def _column(
        self, rows: list[list[str]], place: int, target: ColumnTarget
    ) -> npt.NDArray[np.float64]:
        texts = [row[place] if place < len(row) else "" for row in rows]
        try:
            numbers = np.array(texts, np.float64)
        except ValueError:
            numbers = np.array([self._cell(text) for text in texts])
        with np.errstate(over="ignore"):  # what is too large for a number is beyond every limit
            values = (numbers * target.factor + target.offset) * target.sign
        channel = find(target.channel)
        assert channel
        outside = ~((values >= channel.low) & (values <= channel.high)) & ~np.isnan(numbers)
        self._counters.add("out_of_limits", int(np.count_nonzero(outside)))
        values[outside] = np.nan
        return values

    def _cell(self, text: str) -> float:
        value = self._number(text)
        if math.isnan(value) and text.strip().lower() not in _NOTHING:
            self._counters.add("syntax")
        return value


def _left_out(line: str, comment: str) -> bool:
    return bool(comment) and line.lstrip().startswith(comment)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _iso_us(text: str, zone: tzinfo) -> int:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        return -1
    moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    return round(moment.timestamp() * 1e6)
