"""Counts what becomes of a recording while it is played: every line and frame read, understood,
unknown or spoiled, and which channels it filled, from when to when."""

from collections.abc import Mapping

import numpy as np

from logger.account import Account, Filled, Part
from logger.decode.counters import PASSED_OVER, Counters
from logger.reading import Block, Item, Row, UtcFix
from replay.player import Sink


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
        t_us = np.atleast_1d(np.asarray(item.t_us, dtype=np.int64))
        values = np.asarray(item.values, dtype=np.float64).reshape(len(t_us), -1)
        there = np.isfinite(values)
        for column in np.flatnonzero(there.any(axis=0)).tolist():
            seen = t_us[there[:, column]]
            name = item.group.channels[column]
            first_us, last_us = int(seen.min()), int(seen.max())
            count, before_us, until_us = self._seen.get(name, (0, first_us, last_us))
            span = min(before_us, first_us), max(until_us, last_us)
            self._seen[name] = (count + len(seen), *span)

    def account(self, counters: Mapping[str, Counters]) -> Account:
        """What was counted, beside what the sources and decoders counted themselves."""
        parts = (_part(name, one) for name, one in counters.items() if any(one.as_dict().values()))
        return Account(tuple(parts), tuple(self._filled()))

    def _filled(self) -> list[Filled]:
        return [
            Filled(name, count, self._utc_s(first), self._utc_s(last))
            for name, (count, first, last) in self._seen.items()
        ]

    def _utc_s(self, t_us: int) -> float | None:
        return None if self._offset_us is None else (t_us + self._offset_us) / 1e6


def _part(name: str, counters: Counters) -> Part:
    errors = counters.errors()
    kinds = counters.unknown_kinds()
    named = {"unknown_id", "unknown_sentence"}
    return Part(
        name=name,
        read=counters["frames"],
        unknown=dict(kinds.most_common()),
        passed_over={c: n for c, n in errors.items() if c in PASSED_OVER and c not in named},
        spoiled={c: n for c, n in errors.items() if c not in PASSED_OVER},
    )
