"""Counts what becomes of a recording while it is played: every line and frame read, understood,
unknown or spoiled, and which channels it filled, from when to when."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from logger.account import Account, Filled, Part
from logger.decode.counters import PASSED_OVER, Counters
from logger.reading import Block, Item, Row, UtcFix
from replay.player import Sink

Ints = npt.NDArray[np.int64]

NAMED = ("unknown_id", "unknown_sentence")  # told by kind: by definition


class Tally:
    """A sink that counts what passes through it into another."""

    def __init__(self, into: Sink) -> None:
        self._into = into
        self._seen: dict[str, tuple[int, int, int]] = {}
        self._offset_us: int | None = None

    def add(self, item: Item) -> None:
        """Counts an item and hands it on."""
        if isinstance(item, UtcFix):
            self._offset_us = item.utc_us - item.t_us
        else:
            self._count(item)
        self._into.add(item)

    def _count(self, item: Block | Row) -> None:
        times_us = np.asarray(item.t_us, dtype=np.int64)
        t_us = np.atleast_1d(times_us)
        values = np.asarray(item.values, dtype=np.float64)
        there = np.isfinite(values.reshape(len(t_us), -1))
        for column, name in enumerate(item.group.channels):
            seen = t_us[there[:, column]]
            if len(seen):
                self._add(name, seen)

    def _add(self, name: str, t_us: Ints) -> None:
        first_us = int(t_us.min())
        last_us = int(t_us.max())
        nothing = (0, first_us, last_us)
        count, before_us, until_us = self._seen.get(name, nothing)
        first_us = min(before_us, first_us)
        last_us = max(until_us, last_us)
        self._seen[name] = (count + len(t_us), first_us, last_us)

    def account(self, counters: Mapping[str, Counters]) -> Account:
        """What was counted, beside what the sources and decoders counted themselves."""
        busy = {name: one for name, one in counters.items() if any(one.as_dict().values())}
        parts = tuple(_part(name, one) for name, one in busy.items())
        return Account(parts, tuple(self._filled()))

    def _filled(self) -> list[Filled]:
        filled = []
        for name, (count, first_us, last_us) in self._seen.items():
            first_s = self._utc_s(first_us)
            last_s = self._utc_s(last_us)
            filled.append(Filled(name, count, first_s, last_s))
        return filled

    def _utc_s(self, t_us: int) -> float | None:
        return None if self._offset_us is None else (t_us + self._offset_us) / 1e6


def _part(name: str, counters: Counters) -> Part:
    passed_over, spoiled = {}, {}
    for cause, count in counters.errors().items():
        if cause not in PASSED_OVER:
            spoiled[cause] = count
        elif cause not in NAMED:
            passed_over[cause] = count
    kinds = counters.unknown_kinds().most_common()
    return Part(name, counters["frames"], dict(kinds), passed_over, spoiled)
