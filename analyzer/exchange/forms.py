"""The forms by name, for the faces: one function out, one in.

with open_log("log.sqlite") as log, open("trip_2.csv", "wb") as out:
    write(log.store, "csv", rows.choose(log.store, trip=2), out)
"""

from pathlib import Path
from typing import BinaryIO, Literal, get_args

from analyzer.errors import BadImport
from analyzer.exchange import csv_table, gpx_track, packed_log, parquet_days
from analyzer.exchange.rows import Stretch
from logger.errors import StoreError
from logger.store import Store

Form = Literal["csv", "parquet", "gpx", "log"]
FORMS: tuple[Form, ...] = get_args(Form)
KIND = {
    "csv": "text/csv",
    "parquet": "application/vnd.apache.parquet",
    "gpx": "application/gpx+xml",
    "log": "application/zstd",
}
ENDING = {"csv": ".csv", "parquet": ".parquet", "gpx": ".gpx", "log": ".sqlite.zst"}


def form_of(path: Path) -> Form | None:
    """The form that a file's name says; None where it says none."""
    if path.is_dir():
        return "parquet"
    if path.name.endswith((".sqlite", ".sqlite.zst")):
        return "log"
    return next((form for form in FORMS if path.suffix == ENDING[form]), None)


def write(store: Store, form: Form, stretch: Stretch, out: BinaryIO, name: str = "") -> None:
    """Writes a stretch of a log, or, as "log", all of it.

    Args:
        out: Bytes go here; it is not closed.
        name: A track's name.
    Raises:
        NoTrack: As GPX, and no position was recorded; nothing was written.
        NotInstalled: As Parquet, and pyarrow is not there.
    """
    if form == "csv":
        csv_table.write(store, stretch, out)
    elif form == "parquet":
        parquet_days.write(store, stretch, out)
    elif form == "gpx":
        gpx_track.write(store, stretch, name, out)
    else:
        packed_log.write(store, out)


def read(path: Path, log: Path) -> None:
    """Makes a new log of a file in any of the forms.

    Raises:
        BadImport: It is in none of them, or damaged.
        StoreError: There is a log of that name already.
    """
    if log.exists():
        raise StoreError(f"{log} is there already; name a new log to import {path} into")
    form = form_of(path)
    if form is None:
        raise BadImport(
            f"{path} ends in none of .csv, .parquet, .gpx, .sqlite and .sqlite.zst, and is no "
            "folder of Parquet; recordings of other programs are for `keelwatt replay`"
        )
    log.parent.mkdir(parents=True, exist_ok=True)
    if form == "log":
        packed_log.read(path, log)
        return
    take = {"csv": csv_table.read, "parquet": parquet_days.read, "gpx": gpx_track.read}[form]
    part = log.with_name(log.name + ".part")
    _remove(part)
    try:
        with Store.open(part, write=True) as store:
            take(path, store)
            store.back_up(log)
    finally:
        _remove(part)


def _remove(log: Path) -> None:
    for tail in ("", "-wal", "-shm", ".lock"):
        log.with_name(log.name + tail).unlink(missing_ok=True)
