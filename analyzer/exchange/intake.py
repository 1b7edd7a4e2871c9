"""Rows back into a log."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from analyzer.errors import BadImport
from analyzer.exchange.rows import Rows
from logger.channels import find
from logger.store import EXACT, Block, Boot, Group, Quantum, Store


@dataclass(frozen=True)
class Layout:
    """How the rows' columns go into the log.

    channels: The columns' names. groups: Channels that arrive together; None: all do.
    time_step_us: Resolution of the times; every time is a multiple of it. [µs]
    """

    channels: tuple[str, ...]
    groups: tuple[Group, ...] | None = None
    time_step_us: int = 1


def check_channels(names: Iterable[str], where: str) -> tuple[str, ...]:
    """The names, if each is a channel.

    Raises:
        BadImport: One is not.
    """
    found = tuple(names)
    for name in found:
        if find(name) is None:
            raise BadImport(
                f"{where} has a column {name!r}, which is no channel: an import wants columns as "
                "`keelwatt export` writes them (other tables: `keelwatt replay --map`)"
            )
    return found


def take_in(
    store: Store, layout: Layout, pieces: Iterable[Rows], boots: Sequence[Boot] = ()
) -> int:
    """Writes rows into a log; those of a boot should follow each other.

    Args:
        boots: Those that are known beforehand, in the order in which the log met them.
    Returns:
        How many rows came.
    Raises:
        StoreError: The log knows one of the boots already.
    """
    for boot in boots:
        store.add_boot(boot)
    groups = layout.groups or (Group("import", layout.channels, (EXACT,) * len(layout.channels)),)
    where = [[layout.channels.index(name) for name in g.channels] for g in groups]
    count, known = 0, {boot.uid for boot in boots}
    for uid, run in groupby(pieces, key=lambda piece: piece.boot.uid):
        for n, piece in enumerate(run):
            if n == 0:
                if uid not in known:
                    store.add_boot(piece.boot)
                    known.add(uid)
                writer = store.writer(uid, time_step_us=layout.time_step_us)
            try:
                for group, columns in zip(groups, where, strict=True):
                    values = piece.values[:, columns]
                    have = ~np.isnan(values).all(axis=1)
                    writer.add(Block(group, piece.t_mono_us[have], values[have]))
            except BaseException:
                writer.close()
                raise
            count += len(piece.t_mono_us)
        writer.merge()
        writer.close()
    return count


def groups_for(channels: tuple[str, ...], known: Iterable[tuple[Group, int]]) -> tuple[Group, ...]:
    """Each channel in one group, at the resolution that every group of the log gives it.

    A channel that groups keep at different resolutions is kept exact.
    """
    quanta: dict[str, Quantum] = {}
    members: dict[str, list[str]] = {}
    for group, _ in known:
        for name, quantum in zip(group.channels, group.quanta, strict=True):
            if name not in channels:
                continue
            if name not in quanta:
                members.setdefault(group.key, []).append(name)
            quanta[name] = quantum if quanta.get(name, quantum) == quantum else EXACT
    return tuple(
        Group(key, tuple(names), tuple(quanta[n] for n in names)) for key, names in members.items()
    )
