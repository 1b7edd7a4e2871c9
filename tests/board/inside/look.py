"""On the board, with the release's own Python: what a log holds, as JSON.

look.py LOG [CHANNEL...]
"""

import json
import sqlite3
import sys
from contextlib import closing
from typing import Any

from logger.store import Store


def look(path: str, names: list[str]) -> dict[str, Any]:
    """Whether the file is whole, its boots, and of some channels: count, last value and time."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        whole = db.execute("PRAGMA integrity_check").fetchone()[0]
    with Store.open(path) as store:
        spans = store.channels()
        boots = [
            {
                "uid": b.uid,
                "first_us": b.first_us,
                "last_us": b.last_us,
                "dated": b.utc_source,
                "offset_us": b.utc_offset_us,
                "timeline_offset_us": b.timeline_offset_us,
            }
            for b in store.boots()
        ]
        found = {n: [spans[n].count, *(store.last(n) or ())] for n in names if n in spans}
    return {
        "integrity": whole,
        "boots": boots,
        "channels": {**dict.fromkeys(spans, None), **found},
        "readings": sum(s.count for s in spans.values()),
    }


if __name__ == "__main__":
    print(json.dumps(look(sys.argv[1], sys.argv[2:])))
