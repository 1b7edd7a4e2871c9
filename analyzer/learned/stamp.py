"""What a look through a log rests on, as one digest: the same again would find the same.

Of the program names, sizes and times of its files stand for what they say: reading them all would
take as long as an answer. A program installed anew thus looks again, whatever has changed.
"""

from functools import lru_cache
from hashlib import sha256
from pathlib import Path

import analyzer
import logger
from analyzer.series.log import OpenLog

UNUSED = "faces"  # only formats what was found


def stamp(log: OpenLog) -> str:
    """Of the readings that a log holds, of its boat file and of the program."""
    rests_on = (log.store.boots(), log.store.channels(), log.boat.model_dump_json(), program())
    return sha256(repr(rests_on).encode()).hexdigest()[:16]


@lru_cache(maxsize=1)
def program() -> tuple[tuple[str, int, int], ...]:
    """Names, sizes and times of the files that answers rest on."""
    found = []
    for package in (analyzer, logger):
        root = Path(str(package.__file__)).parent
        for path in sorted(root.rglob("*.py")):
            if UNUSED not in path.relative_to(root).parts:
                file = path.stat()
                found.append((str(path.relative_to(root)), file.st_size, file.st_mtime_ns))
    return tuple(found)
