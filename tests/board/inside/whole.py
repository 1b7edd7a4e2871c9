"""On the board: whether a log is whole and where its boots end, as JSON. Quick: no package needed.

whole.py LOG [SECONDS]    waits at most so long for readings of the present boot
"""

import json
import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import Any

# As logger/store/boots.py: what is sealed, and what is still in the tail.
BOOTS = """
SELECT uid, last_us, (SELECT max(last_us) FROM tick WHERE boot_number = boot.number)
FROM boot ORDER BY number
"""

OWN = Path("/proc/sys/kernel/random/boot_id")


def look(path: str) -> dict[str, Any]:
    """integrity, boots, and whether the present boot has readings."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=60)) as db:
        boots = [
            {"uid": uid, "last_us": max(sealed_us or 0, tail_us or 0)}
            for uid, sealed_us, tail_us in db.execute(BOOTS)
        ]
        own = boots[-1] if boots and boots[-1]["uid"] == OWN.read_text().strip() else None
        records = own is not None and own["last_us"] > 0
        return {"boots": boots, "records": records}


def made(path: str) -> bool:
    """Whether there is a log with its tables yet."""
    try:
        look(path)
    except sqlite3.OperationalError:
        return False
    return True


def integrity(path: str) -> str:
    """What SQLite says of the whole file."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=60)) as db:
        return str(db.execute("PRAGMA integrity_check").fetchone()[0])


if __name__ == "__main__":
    end_s = time.monotonic() + float(sys.argv[2] if len(sys.argv) > 2 else 0)
    while not made(sys.argv[1]) and time.monotonic() < end_s:
        time.sleep(1)
    whole = integrity(sys.argv[1])
    while not (found := look(sys.argv[1]))["records"] and time.monotonic() < end_s:
        time.sleep(1)
    print(json.dumps({"integrity": whole, **found}))
