"""A log carried into a database, and kept up there: tables that plotting tools read as they are.

| table | one row |
|---|---|
| keelwatt_channels | a channel: its unit, and in words what it is |
| keelwatt_readings | a reading, or the mean over a step: channel, time, value |
| keelwatt_trips | a trip: times, miles, watt-hours out and in |
| keelwatt_flags | a flag: what, since when, until when, what to do first |
| keelwatt_latest | (a view) the newest reading of each channel |

`boat` stands in every table, so that one database holds many boats. `utc` is null where a boot was
never dated; `log_us` is the log's own clock, which always goes on, and by which a later run goes on
where the last one ended. Readings are written in whole pieces, each in one transaction.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from analyzer.exchange.database import Reached
from analyzer.exchange.rows import Rows, Stretch, boat_name, choose, rows
from analyzer.series.series import Bools
from logger import channels
from logger.store import Store
from logger.units import UNDATED_S

# Some servers' own default is an older set of letters, without Ω, and takes "Sea" for "sea".
ANY_TEXT = {
    "mysql_charset": "utf8mb4",
    "mysql_collate": "utf8mb4_bin",
    "mariadb_charset": "utf8mb4",
    "mariadb_collate": "utf8mb4_bin",
}
BATCH = 5000  # rows written at a time; assumed
Row = Mapping[str, Any]


class Mirror:
    """Tables of one boat's log in a database.

    Args:
        url: As for `Reached`.
        boat: Its name.
    Raises:
        CannotWrite, NotInstalled: The database cannot be used.
    """

    def __init__(self, url: str, boat: str) -> None:
        self._at = Reached(url)
        self._boat = boat
        self._tables = _tables(self._at.sa)
        with self._at.sentences(), self._at.engine.begin() as connection:
            for table in self._tables.values():
                table.create(connection, checkfirst=True)
            if "keelwatt_latest" not in self._at.sa.inspect(connection).get_view_names():
                connection.execute(self._at.sa.text(LATEST))

    def close(self) -> None:
        """Lets the database go."""
        self._at.close()

    def carry(self, store: Store, wanted: Sequence[str] = (), step_s: float | None = None) -> int:
        """Readings that came since the last time.

        Args:
            wanted: Names of channels; none: all.
            step_s: Seconds from reading to reading, each the mean over them; None: as they came.
        Returns:
            How many.
        """
        whole = choose(store, None, wanted, step_s)
        self._put("channels", [_channel(store, name) for name in whole.channels], whole.channels)
        stretch = _after(whole, self._reached_us())
        return sum(self._readings(piece, whole.channels) for piece in rows(store, stretch))

    def put(self, table: str, found: Sequence[Row]) -> None:
        """A small table anew: "trips" or "flags"."""
        self._put(table, found, None)

    def _reached_us(self) -> int | None:
        """The log's own clock at the newest reading that is there; None: there is none. [µs]"""
        sa, table = self._at.sa, self._tables["readings"]
        newest = sa.select(sa.func.max(table.c.log_us)).where(table.c.boat == self._boat)
        with self._at.sentences(), self._at.engine.connect() as connection:
            found = connection.execute(newest).scalar()
        return None if found is None else int(found)

    def _readings(self, piece: Rows, names: Sequence[str]) -> int:
        log_us = piece.t_mono_us + piece.boot.timeline_offset_us
        there = _firsts(log_us)[:, None] & np.isfinite(piece.values)
        dated = piece.utc_offset_us is not None
        found = [
            {
                "boat": self._boat,
                "channel": names[column],
                "log_us": int(log_us[row]),
                "utc": utc(log_us[row] / 1e6) if dated else None,
                "value": float(piece.values[row, column]),
            }
            for row, column in np.argwhere(there).tolist()
        ]
        with self._at.sentences(), self._at.engine.begin() as connection:
            for at in range(0, len(found), BATCH):
                connection.execute(self._tables["readings"].insert(), found[at : at + BATCH])
        return len(found)

    def _put(self, name: str, found: Iterable[Row], only: Sequence[str] | None) -> None:
        """Rows in the place of the boat's old ones; of some channels alone, if they are named."""
        table = self._tables[name]
        old = table.delete().where(table.c.boat == self._boat)
        if only is not None:
            old = old.where(table.c.channel.in_(only))
        with self._at.sentences(), self._at.engine.begin() as connection:
            connection.execute(old)
            new = [{"boat": self._boat, **row} for row in found]
            if new:
                connection.execute(table.insert(), new)


LATEST = """CREATE VIEW keelwatt_latest AS
SELECT r.boat, r.channel, c.unit, r.utc, r.value
FROM keelwatt_readings r
JOIN keelwatt_channels c ON c.boat = r.boat AND c.channel = r.channel
WHERE r.log_us = (SELECT MAX(n.log_us) FROM keelwatt_readings n
                  WHERE n.boat = r.boat AND n.channel = r.channel)"""


def utc(seconds: float | None) -> datetime | None:
    """A time for a database: UTC without a zone; None where it is none."""
    if seconds is None or seconds <= UNDATED_S:
        return None
    return datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None)


def _after(whole: Stretch, reached_us: int | None) -> Stretch:
    """What of a log is new; with a step, whole steps that are over."""
    step_us = 1 if whole.step_s is None else round(whole.step_s * 1e6)
    start_us = whole.start_us if reached_us is None else reached_us + step_us
    many = max(whole.end_us - start_us, 0) // step_us
    return replace(whole, start_us=start_us, end_us=start_us + many * step_us)


def _firsts(t_us: "np.ndarray[Any, np.dtype[np.int64]]") -> Bools:
    """The first row of each time, (n,): a key wants one reading a channel and time."""
    return np.asarray(np.diff(t_us, prepend=t_us[:1] - 1) > 0)


def _channel(store: Store, name: str) -> Row:
    known = channels.find(name)
    unit = store.channels()[name].unit
    return {"channel": name, "unit": unit, "text": known.text if known else ""}


def _tables(sa: Any) -> dict[str, Any]:
    """The tables by name, each with the boat in its key."""
    name, text, real = sa.String(80), sa.Text, sa.Double
    from sqlalchemy.dialects.mysql import DATETIME

    # to the microsecond also where a database's own times go to the second
    time = sa.DateTime().with_variant(DATETIME(fsp=6), "mysql", "mariadb")
    columns: dict[str, tuple[tuple[str, Any, str], ...]] = {
        "channels": (("channel", name, "key"), ("unit", sa.String(16), ""), ("text", text, "")),
        "readings": (
            ("channel", name, "key"),
            ("log_us", sa.BigInteger, "key"),
            ("utc", time, "index"),
            ("value", real, ""),
        ),
        "trips": (
            ("number", sa.Integer, "key"),
            ("start_utc", time, ""),
            ("end_utc", time, ""),
            ("distance_m", real, ""),
            ("energy_out_wh", real, ""),
            ("energy_in_wh", real, ""),
            ("charge_start_frac", real, ""),
            ("charge_end_frac", real, ""),
        ),
        "flags": (
            ("number", sa.Integer, "key"),
            ("level", sa.String(16), ""),
            ("title", text, ""),
            ("evidence", text, ""),
            ("first_action", text, ""),
            ("raised_utc", time, ""),
            ("cleared_utc", time, ""),
        ),
    }
    made = sa.MetaData()
    return {table: _table(sa, made, table, told) for table, told in columns.items()}


def _table(sa: Any, made: Any, name: str, told: Iterable[tuple[str, Any, str]]) -> Any:
    boat = sa.Column("boat", sa.String(120), primary_key=True)
    rest = [
        sa.Column(
            column,
            kind,
            primary_key=use == "key",
            index=use == "index",
            autoincrement=False,
            nullable=use != "key",
        )
        for column, kind, use in told
    ]
    return sa.Table(f"keelwatt_{name}", made, boat, *rest, **ANY_TEXT)


def mirrored(url: str, store: Store) -> Mirror:
    """The tables of the log's own boat."""
    return Mirror(url, boat_name(store))
