"""Readings as Parquet, by boat and day, with the log's small tables beside them.

A folder holds readings/boat=NAME/day=2026-07-01/LOG.parquet, the usual way of parting data sets,
so that many boats share it; the day is "undated" where a boot's date is not known. Columns:

    t_utc       timestamp[us, UTC], null where the boot's date is not known
    boot        the boot's name
    t_mono_us   its clock [µs]
    CHANNEL     float64, null where nothing was measured; metadata: unit, text, step, offset,
                group (what arrived together; step and offset say what the sensor resolves)

Every day of a log has all of the log's columns. Boats differ in theirs: read one boat's folder, or
by name (DuckDB's union_by_name; pandas would take the first file's columns for all).

The file's own metadata ("keelwatt", JSON) has the boots, the resolution of the times, and the
boat file. The
small tables (flag, trip, learned, health, boatfile) are TABLE/boat=NAME/LOG.parquet.
"""

import hashlib
import itertools
import json
import re
from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from analyzer.errors import BadImport, installed
from analyzer.exchange import intake
from analyzer.exchange.rows import Rows, Stretch, boat_name, rows
from logger.channels import find, unit_of
from logger.store import EXACT, Boot, Group, Quantum, Store, Table
from logger.units import DAY_US

if TYPE_CHECKING:
    import pyarrow as pa

KEY = b"keelwatt"
FIXED = ("t_utc", "boot", "t_mono_us")
ARROW = ".arrow"  # how such a file ends
NO_DAY = "undated"  # pandas cannot read the null of parted data sets


def arrow() -> Any:
    """pyarrow. Raises NotInstalled."""
    installed("pyarrow.parquet", "Parquet", "parquet")
    installed("pyarrow.ipc", "Arrow", "parquet")
    return installed("pyarrow", "Parquet and Arrow", "parquet")


def write(store: Store, stretch: Stretch, out: BinaryIO) -> None:
    """Writes readings as one Parquet file.

    Args:
        stretch: What; see `rows.choose`.
        out: Bytes go here; it is not closed.
    Raises:
        NotInstalled: pyarrow is not there.
    """
    pa = arrow()
    schema = _schema(store, stretch)
    with pa.parquet.ParquetWriter(out, schema, compression="zstd") as file:
        for piece in rows(store, stretch):
            file.write_table(_table(piece, schema))


def write_arrow(store: Store, stretch: Stretch, out: BinaryIO) -> None:
    """Writes the same rows and head as one Arrow file. The rest is as for `write`."""
    pa = arrow()
    schema = _schema(store, stretch)
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_file(out, schema, options=options) as file:
        for piece in rows(store, stretch):
            file.write_table(_table(piece, schema))


def write_folder(store: Store, stretch: Stretch, folder: Path, boat: str | None = None) -> int:
    """Writes readings by boat and day, and the small tables; what the log wrote before is replaced.

    Args:
        boat: The boat's name; None: as the log's boat file says.
    Returns:
        How many files hold readings.
    Raises:
        NotInstalled: pyarrow is not there.
    """
    pa = arrow()
    schema = _schema(store, stretch)
    name = _boat(boat or boat_name(store))
    log = _log(store)
    for old in folder.glob(f"*/boat={name}/**/{log}.parquet"):
        old.unlink()
    open_: dict[str, Any] = {}
    with ExitStack() as files:

        def file(day: str) -> Any:
            if day not in open_:
                there = folder / "readings" / f"boat={name}" / f"day={day}"
                path = there / f"{log}.parquet"
                path.parent.mkdir(parents=True, exist_ok=True)
                new = pa.parquet.ParquetWriter(path, schema, compression="zstd")
                open_[day] = files.enter_context(new)
            return open_[day]

        for day, piece in _by_day(rows(store, stretch)):
            file(day).write_table(_table(piece, schema))
        if not open_:
            file(NO_DAY)  # an empty log is one, too
    for title, table in store.tables().items():
        path = folder / title / f"boat={name}" / f"{log}.parquet"
        path.parent.mkdir(parents=True, exist_ok=True)
        pa.parquet.write_table(_small(pa, table), path)
    return len(open_)


def read(path: Path, store: Store) -> int:
    """Takes a file, or a folder of one log, into an empty log; how many rows came.

    Raises:
        BadImport: It is not of this form, or the folder holds more than one log.
        NotInstalled: pyarrow is not there.
    """
    pa = arrow()
    files = sorted(path.glob("readings/**/*.parquet")) if path.is_dir() else [path]
    logs = {(p.parent.parent.name, p.name) for p in files}
    if path.is_dir() and len(logs) != 1:
        raise BadImport(
            f"{path} holds {len(logs)} logs where one is wanted: name a folder that "
            "`keelwatt export --format parquet` wrote, with one boat's log in it"
        )
    try:
        heads = [_head(pa, file) for file in files]
        layout = _layout(heads[0][1], files[0])
        boots = {b["uid"]: Boot(**b) for head, _ in heads for b in head["boots"]}
        pieces = _read_rows(pa, files, boots, layout.channels)
        count = intake.take_in(store, layout, pieces, tuple(boots.values()))
        boat_file = heads[0][0].get("boat_file")
        if path.is_dir():
            store.put_tables(_tables(pa, path, store.tables()))
        elif boat_file is not None:
            store.save_boat(boat_file, 0)
    except (pa.ArrowException, KeyError, TypeError) as error:
        raise BadImport(f"{path} is no Parquet or Arrow of keelwatt's: {error}") from error
    return count


# -- out ----------------------------------------------------------------------------------------


def _schema(store: Store, stretch: Stretch) -> "pa.Schema":
    pa = arrow()
    known = store.groups()
    group_of = {}
    for group in intake.groups_for(stretch.channels, known):
        for name in group.channels:
            group_of[name] = group
    fields = [
        pa.field("t_utc", pa.timestamp("us", "UTC")),
        pa.field("boot", pa.string(), nullable=False),
        pa.field("t_mono_us", pa.int64(), nullable=False, metadata={"unit": "us"}),
    ]
    for name in stretch.channels:
        channel = find(name)
        group = group_of[name]
        quantum = EXACT
        if stretch.step_s is None:
            place = group.channels.index(name)
            quantum = group.quanta[place]
        about = {
            "unit": channel.unit if channel else unit_of(name),
            "text": channel.text if channel else "",
            "step": repr(quantum.step),
            "offset": repr(quantum.offset),
            "group": group.key,
        }
        fields.append(pa.field(name, pa.float64(), metadata=about))
    step_us = min((step for _, step in known), default=1)
    even = stretch.step_s is None and all(step % step_us == 0 for _, step in known)
    head = {
        "boots": [asdict(boot) for boot in store.boots()],
        "time_step_us": step_us if even else 1,
        "boat_file": store.boat_text(),
    }
    return pa.schema(fields, metadata={KEY: json.dumps(head)})


def _table(piece: Rows, schema: "pa.Schema") -> "pa.Table":
    pa = arrow()
    n = len(piece.t_mono_us)
    time = schema.field("t_utc").type
    if piece.utc_offset_us is None:
        utc = pa.nulls(n, time)
    else:
        utc_us = piece.t_mono_us + piece.utc_offset_us
        utc = pa.array(utc_us, time)
    uids = pa.array([piece.boot.uid] * n)
    columns = [utc, uids, pa.array(piece.t_mono_us)]
    for column in np.asfortranarray(piece.values).T:
        columns.append(pa.array(column, mask=np.isnan(column)))
    return pa.Table.from_arrays(columns, schema=schema)


def _by_day(pieces: Iterable[Rows]) -> Iterator[tuple[str, Rows]]:
    for piece in pieces:
        if piece.utc_offset_us is None:
            yield NO_DAY, piece
            continue
        utc_us = piece.t_mono_us + piece.utc_offset_us
        day = utc_us // DAY_US
        for one in np.unique(day).tolist():
            part = day == one
            date = str(np.datetime64(one, "D"))
            yield date, Rows(piece.boot, piece.t_mono_us[part], piece.values[part])


def _boat(name: str) -> str:
    """A boat's name as a folder's: lower case, what is no letter or figure as one "-"."""
    plain = re.sub(r"[\W_]+", "-", name.lower())
    return plain.strip("-") or "unnamed"


def _log(store: Store) -> str:
    """A name for the log that stays the same as it grows: of its first boot."""
    boots = store.boots()
    first = boots[0].uid if boots else ""
    return hashlib.sha256(first.encode()).hexdigest()[:12]


def _small(pa: Any, table: Table) -> "pa.Table":
    kinds = {"INTEGER": pa.int64(), "REAL": pa.float64(), "TEXT": pa.string()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in table.columns.items()])
    columns = list(zip(*table.rows, strict=True)) or [()] * len(schema)
    arrays = []
    for column, told in zip(columns, schema, strict=True):
        arrays.append(pa.array(column, type=told.type))
    return pa.Table.from_arrays(arrays, schema=schema)


# -- in -----------------------------------------------------------------------------------------


def _head(pa: Any, path: Path) -> tuple[dict[str, Any], "pa.Schema"]:
    schema = _schema_of(pa, path)
    ours = KEY in (schema.metadata or {})
    if not ours or not set(FIXED) <= set(schema.names):
        raise BadImport(f"{path} is Parquet or Arrow, but not as `keelwatt export` writes it")
    return json.loads(schema.metadata[KEY]), schema


def _layout(schema: "pa.Schema", path: Path) -> intake.Layout:
    names = [name for name in schema.names if name not in FIXED]
    channels = intake.check_channels(names, str(path))
    members: dict[str, list[str]] = {}
    quanta: dict[str, Quantum] = {}
    for name in channels:
        about = schema.field(name).metadata or {}
        step = float(about[b"step"])
        quanta[name] = Quantum(step, float(about[b"offset"]))
        group = about[b"group"].decode()
        members.setdefault(group, []).append(name)
    groups = []
    for key, own in members.items():
        steps = tuple(quanta[name] for name in own)
        groups.append(Group(key, tuple(own), steps))
    head = json.loads(schema.metadata[KEY])
    return intake.Layout(channels, tuple(groups), int(head["time_step_us"]))


def _read_rows(
    pa: Any, files: list[Path], boots: dict[str, Boot], channels: tuple[str, ...]
) -> Iterator[Rows]:
    """Row group by row group; those of one boot within a file follow each other."""
    for path in files:
        for part in _parts(pa, path, [*FIXED, *channels]):
            uids = np.asarray(part["boot"].to_pylist())
            t_us = part["t_mono_us"].to_numpy()
            values = np.column_stack([part[name].to_numpy() for name in channels])
            changes = np.flatnonzero(uids[1:] != uids[:-1]) + 1
            edges = [0, *changes, len(uids)]
            for start, end in itertools.pairwise(edges):
                if start < end:
                    boot = boots[str(uids[start])]
                    yield Rows(boot, t_us[start:end], values[start:end])


def _schema_of(pa: Any, path: Path) -> "pa.Schema":
    if path.suffix != ARROW:
        return pa.parquet.read_schema(path)
    with pa.ipc.open_file(path) as file:
        return file.schema


def _parts(pa: Any, path: Path, columns: list[str]) -> "Iterator[pa.Table]":
    """A file's rows piece by piece."""
    if path.suffix != ARROW:
        with pa.parquet.ParquetFile(path) as file:
            for number in range(file.num_row_groups):
                yield file.read_row_group(number, columns=columns)
        return
    with pa.ipc.open_file(path) as file:
        for number in range(file.num_record_batches):
            yield pa.Table.from_batches([file.get_batch(number)]).select(columns)


def _tables(pa: Any, folder: Path, known: dict[str, Table]) -> dict[str, Table]:
    """The small tables that the folder holds."""
    found: dict[str, Table] = {}
    for title, like in known.items():
        for path in folder.glob(f"{title}/**/*.parquet"):
            part = pa.parquet.ParquetFile(path).read()
            columns = [column.to_pylist() for column in part.columns]
            rows = list(zip(*columns, strict=True))
            kinds = {name: like.columns[name] for name in part.column_names}
            found[title] = Table(kinds, rows)
    return found
