"""What a way in would record, tried for some seconds before it stands in the boat file."""

import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from logger.daemon.config import SourceConfig
from logger.daemon.source_kinds import open_source
from logger.decode.counters import Counters
from logger.reading import Block, Item, Row, Source

TRIAL_S = 3.0  # a device that speaks once a second is heard twice at least; assumed


def tried(
    kind: str, options: Mapping[str, object], folder: Path, seconds: float = TRIAL_S
) -> dict[str, float]:
    """The last value of each channel that a way in gave, in the units used inside.

    Args:
        kind, options: As in the boat file.
        folder: Files named in the options are relative to it.
    Raises:
        BoatFileError: An option is wrong.
        SourceError: It cannot be opened: nothing is there, or something else reads it.
    """
    source = open_source(SourceConfig("trial", kind, options), folder, Counters("trial"))
    try:
        return _last(source, time.monotonic() + seconds)
    finally:
        source.close()


def _last(source: Source, until_s: float) -> dict[str, float]:
    found: dict[str, float] = {}
    while (left_s := until_s - time.monotonic()) > 0:
        items = source.read(min(left_s, 0.5))
        if items is None:
            break
        for item in items:
            found |= _values(item)
    return found


def _values(item: Item) -> dict[str, float]:
    if isinstance(item, Row):
        pairs = zip(item.group.channels, item.values, strict=True)
        return {name: value for name, value in pairs if value is not None}
    if not isinstance(item, Block) or not len(item.values):
        return {}
    return {
        name: float(column[np.isfinite(column)][-1])
        for name, column in zip(item.group.channels, item.values.T, strict=True)
        if np.isfinite(column).any()
    }
