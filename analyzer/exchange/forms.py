"""The forms by name, for the faces: one function out, one in.

with open_log("log.sqlite") as log, open("trip_2.csv", "wb") as out:
    write(log.store, "csv", rows.choose(log.store, trip=2), out)
"""

from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, Literal, get_args

from analyzer.errors import BadImport
from analyzer.exchange import bdf_table, csv_table, gpx_track, packed_log, parquet_days
from analyzer.exchange.rows import Stretch
from logger.errors import StoreError
from logger.store import Store
from logger.store.backup import scratch_file

Form = Literal["csv", "parquet", "arrow", "bdf", "gpx", "log"]
FORMS: tuple[Form, ...] = get_args(Form)
KIND = {
    "csv": "text/csv",
    "parquet": "application/vnd.apache.parquet",
    "arrow": "application/vnd.apache.arrow.file",
    "bdf": "text/csv",
    "gpx": "application/gpx+xml",
    "log": "application/zstd",
}
ENDING = {
    "bdf": ".bdf.csv",
    "csv": ".csv",
    "parquet": ".parquet",
    "arrow": ".arrow",
    "gpx": ".gpx",
    "log": ".sqlite.zst",
}


def form_of(path: Path) -> Form | None:
    """The form that a file's name says; None where it says none."""
    if path.is_dir():
        return "parquet"
    if path.suffix == ".sqlite":
        return "log"
    found = [form for form in FORMS if path.name.endswith(ENDING[form])]
    return max(found, key=lambda form: len(ENDING[form]), default=None)


def write(store: Store, form: Form, stretch: Stretch, out: BinaryIO, name: str = "") -> None:
    """Writes a stretch of a log, or, as "log", all of it.

    Args:
        out: Bytes go here; it is not closed.
        name: A track's name.
    Raises:
        NoTrack: As GPX, and no position was recorded; nothing was written.
        NoChannel: As battery data, and voltage or current was not recorded.
        NotInstalled: As Parquet or Arrow, and pyarrow is not there.
    """
    if form == "csv":
        csv_table.write(store, stretch, out)
    elif form == "parquet":
        parquet_days.write(store, stretch, out)
    elif form == "arrow":
        parquet_days.write_arrow(store, stretch, out)
    elif form == "bdf":
        bdf_table.write(store, stretch, out)
    elif form == "gpx":
        gpx_track.write(store, stretch, name, out)
    else:
        packed_log.write(store, out)


def read(path: Path, log: Path, finish: Callable[[Path], None] | None = None) -> None:
    """Makes a new log of a file in any of the forms.

    Args:
        finish: Called with the log under a passing name, before it gets its own.
    Raises:
        BadImport: It is in none of them, or damaged.
        StoreError: There is a log of that name already.
    """
    if log.exists():
        raise StoreError(f"{log} is there already; name a new log to import {path} into")
    form = form_of(path)
    if form is None or form == "bdf":
        raise BadImport(
            f"{path} ends in none of .csv (but not .bdf.csv), .parquet, .arrow, .gpx, .sqlite and "
            ".sqlite.zst, and is no "
            "folder of Parquet; recordings of other programs are for `keelwatt replay`"
        )
    log.parent.mkdir(parents=True, exist_ok=True)
    with scratch_file(log.with_name(f"{log.name}.made")) as made:
        _fill(path, form, made)
        if finish:
            finish(made)
        with Store.open(made) as store:
            store.back_up(log)


def _fill(path: Path, form: Form, made: Path) -> None:
    if form == "log":
        packed_log.read(path, made)
        return
    take = {
        "csv": csv_table.read,
        "parquet": parquet_days.read,
        "arrow": parquet_days.read,
        "gpx": gpx_track.read,
    }[form]
    with Store.open(made, write=True) as store:
        take(path, store)
