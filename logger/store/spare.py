"""A second copy of what all readings hang on: channels, groups and boots.

A page of them that a card spoils would take the meaning of every reading along. The copy stands in
another table, so on other pages; only a salvage reads it.
"""

import json
import sqlite3

KEY = "spare copy"  # in the health table
TABLES = ("channel", "channel_group", "group_channel", "boot")


def keep(db: sqlite3.Connection) -> None:
    """Writes the copy anew, in the caller's transaction."""
    rows = {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in TABLES}
    db.execute(
        "INSERT INTO health (key, value) VALUES (?, ?)"
        " ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        [KEY, json.dumps(rows, separators=(",", ":"))],
    )


def fill_in(db: sqlite3.Connection) -> int:
    """Rows that are missing, from the copy, in the caller's transaction; how many."""
    row = db.execute("SELECT value FROM health WHERE key = ?", [KEY]).fetchone()
    return sum(
        db.execute(
            f"INSERT OR IGNORE INTO {name} VALUES ({', '.join('?' * len(values))})", values
        ).rowcount
        for name, rows in (json.loads(row[0]) if row else {}).items()
        if name in TABLES
        for values in rows
    )
