"""On the board: whether a log is whole and where its boots end, as JSON. Quick: no package needed.

whole.py LOG
"""

import json
import sqlite3
import sys
from contextlib import closing

# As logger/store/boots.py: what is sealed, and what is still in the tail.
BOOTS = """
SELECT uid, last_us, (SELECT max(last_us) FROM tick WHERE boot_number = boot.number)
FROM boot ORDER BY number
"""

if __name__ == "__main__":
    with closing(sqlite3.connect(f"file:{sys.argv[1]}?mode=ro", uri=True)) as db:
        boots = [
            {"uid": uid, "last_us": max(sealed_us or 0, tail_us or 0)}
            for uid, sealed_us, tail_us in db.execute(BOOTS)
        ]
        integrity = db.execute("PRAGMA integrity_check").fetchone()[0]
    print(json.dumps({"integrity": integrity, "boots": boots}))
