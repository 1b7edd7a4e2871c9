"""From a recording to a log, as the recorder writes it: groups of channels, boots, dates."""

from collections import defaultdict
from pathlib import Path

import numpy as np
import tomlkit

from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from tests.breakage.recordings import Reading, Recording, devices_of


def write_boat(path: Path, recording: Recording) -> None:
    """The boat file."""
    path.write_text(tomlkit.dumps(recording.boat), encoding="utf-8")


def write_log(path: Path, recording: Recording, from_s: float, until_s: float) -> None:
    """Appends the readings of [from_s, until_s), each to the boot it belongs to.

    The store itself drops what lies outside a channel's plausible limits, as on board.
    """
    starts = [start for start, _ in recording.boots]
    ends = [*starts[1:], np.inf]
    with Store.open(path, write=True) as store:
        for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
            first, last = max(start, from_s), min(end, until_s)
            if first < last:
                _write_boot(store, recording, number, first, last)


def _write_boot(store: Store, recording: Recording, number: int, first: float, last: float) -> None:
    start, error_s = recording.boots[number]
    writer = store.writer(f"breakage-{number}")
    writer.add(UtcFix(0, round((recording.start_utc_s + start + error_s) * 1e6), "gnss", 0.1))
    for group, rows in _groups(recording, first, last).items():
        names = tuple(name for name, _ in rows)
        t_us = np.round((rows[0][1].t_s - start) * 1e6).astype(np.int64)
        values = np.column_stack([said.value for _, said in rows])
        writer.add(
            Block(
                Group(f"{group[0]}/{'+'.join(names)}", names, (EXACT,) * len(names)), t_us, values
            )
        )
    writer.close()


def _groups(
    recording: Recording, first: float, last: float
) -> dict[tuple[str, bytes], list[tuple[str, Reading]]]:
    """Channels of one device that have the same times arrive together."""
    groups: dict[tuple[str, bytes], list[tuple[str, Reading]]] = defaultdict(list)
    for name, said in recording.readings.items():
        inside = (said.t_s >= first) & (said.t_s < last)
        if inside.any():
            cut = Reading(said.t_s[inside], said.value[inside])
            groups[devices_of(name), cut.t_s.tobytes()].append((name, cut))
    return groups
