"""How far a log was looked through, and what that rests on, as one digest: the same again would
find the same.

Of the program names, sizes and times of its files stand for what they say: reading them all would
take as long as an answer. A program installed anew thus looks again, whatever has changed.
"""

from functools import lru_cache
from hashlib import sha256
from pathlib import Path

import analyzer
from analyzer.series.log import OpenLog
from logger import store

SEEN = "seen"  # how far the log was looked through
UNUSED = "faces"  # only formats what was found


def stamp(log: OpenLog) -> str:
    """Of the readings that a log holds, of its boat file and of the program."""
    rests_on = (log.store.boots(), log.store.channels(), log.boat.model_dump_json(), program())
    return sha256(repr(rests_on).encode()).hexdigest()[:16]


def looked_through(log: OpenLog) -> bool:
    """Whether another look would find the same as the last."""
    kept = log.store.learned(SEEN)
    return bool(kept) and kept[-1].value.get("stamp") == stamp(log)


def new_s(log: OpenLog) -> float:
    """How much of the log's end has not been looked through. [s]"""
    span, seen = log.store.span(), log.store.learned(SEEN)
    begin_us, end_us = span or (0, 0)
    return (end_us - (seen[-1].to_us if seen else begin_us)) / 1e6


@lru_cache(maxsize=1)
def program() -> tuple[tuple[str, int, int], ...]:
    """Names, sizes and times of the files that answers rest on."""
    found = []
    for root in (Path(str(analyzer.__file__)).parent, Path(store.__file__).parent.parent):
        for path in sorted(root.rglob("*.py")):
            if UNUSED not in path.relative_to(root).parts:
                file = path.stat()
                found.append((str(path.relative_to(root)), file.st_size, file.st_mtime_ns))
    return tuple(found)
