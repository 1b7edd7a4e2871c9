"""export and import: a trip or a whole log as CSV, Parquet, GPX or packed, and back."""

import argparse
import math
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from analyzer.faces.cli import options as opt

if TYPE_CHECKING:
    from analyzer.exchange.rows import Stretch
    from logger.store import Store


def add(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    """Adds the sub-commands."""
    _add_export(parsers)
    _add_import(parsers)


def _add_export(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    parser = opt.add_command(
        parsers,
        "export",
        _export,
        "write a trip, or channels of the whole log, as CSV, Parquet or GPX, or the log itself",
        "keelwatt export 2 --out trip2.csv\n"
        "keelwatt export 2 --out trip2.gpx\n"
        "keelwatt export --channels pack_voltage_v,pack_current_a --step 10 > pack.csv\n"
        "keelwatt export --format parquet --out boats/    a folder by boat and day\n"
        "keelwatt export --out log.sqlite.zst   the whole log packed, also while it is written",
    )
    parser.add_argument(
        "trip", nargs="?", type=opt.trip_number, help="the trip's number (else the whole log)"
    )
    parser.add_argument(
        "--channels",
        metavar="A,B",
        type=_names,
        default=(),
        help="names of channels, with commas between (else all)",
    )
    parser.add_argument(
        "--step",
        type=_step,
        metavar="S",
        help="seconds from row to row, each the mean over them (else every reading at its time)",
    )
    parser.add_argument(
        "--format",
        choices=("csv", "parquet", "gpx", "log"),
        help="what to write (else as FILE ends, else csv); log: the whole log as one file, "
        "to keep or to send, smaller where FILE ends in .zst",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="where to (else the output); Parquet: or a folder"
    )
    opt.add_places(parser)


def _add_import(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    parser = opt.add_command(
        parsers,
        "import",
        _import,
        "make a new log of what `keelwatt export` wrote, or of anybody's GPX track with times",
        "keelwatt import log.sqlite.zst --log other.sqlite\n"
        "keelwatt import boats/ --log other.sqlite",
    )
    parser.add_argument(
        "file", type=_there, metavar="FILE", help="CSV, Parquet (a folder too), GPX, packed log"
    )
    opt.add_places(parser)


def _export(options: argparse.Namespace) -> int:
    from analyzer.exchange import forms, rows
    from logger.store import Store

    form = options.format or (options.out and forms.form_of(options.out)) or "csv"
    if form == "log":
        return _copy(options)
    with Store.open(opt.find_places(options).log) as store:
        stretch = rows.choose(store, options.trip, options.channels, options.step)
        if form == "parquet" and options.out is not None and options.out.suffix != ".parquet":
            _write_folder(store, stretch, options)
        elif options.out is None:
            _refuse_terminal(form)
            forms.write(store, form, stretch, sys.stdout.buffer, _name(store, options.trip))
            return 0
        else:
            with _whole(options.out) as out:
                forms.write(store, form, stretch, out, _name(store, options.trip))
    opt.tell_user(f"Wrote {options.out}.")
    return 0


def _write_folder(store: "Store", stretch: "Stretch", options: argparse.Namespace) -> None:
    from analyzer.errors import CannotWrite
    from analyzer.exchange import parquet_days

    if options.trip is not None or options.channels:
        raise CannotWrite(
            "a folder of Parquet takes the whole log; for a trip or some channels name a file: "
            "--out FILE.parquet"
        )
    parquet_days.write_folder(store, stretch, options.out)


def _copy(options: argparse.Namespace) -> int:
    from analyzer.exchange import packed_log
    from logger.errors import StoreError
    from logger.store import Store

    if options.out is None or options.trip is not None:
        raise StoreError("the log itself is written whole, to a new file: --format log --out FILE")
    with Store.open(opt.find_places(options).log) as store:
        if options.out.suffix == packed_log.PACKED:
            if options.out.exists():
                raise StoreError(f"{options.out} is there already; name a new file for the log")
            with _whole(options.out) as out:
                packed_log.write(store, out)
        else:
            store.back_up(options.out)
    opt.tell_user(f"Wrote {options.out}.")
    return 0


def _import(options: argparse.Namespace) -> int:
    from analyzer.exchange import forms
    from analyzer.faces.cli import paths, playback
    from logger import boat as boats
    from logger.store import Store

    log = paths.find(options.log, options.boat).log
    boat = paths.find_boat(options.boat) if options.boat else None  # else the log's own
    if boat is not None:
        boats.load(boat)
    forms.read(options.file, log)
    with Store.open(log, write=True) as store:
        if boat is not None:
            store.save_boat(boat.read_text("utf-8-sig"), time.time_ns() // 1000)
        known = store.boat_text() is not None
    if known:
        playback.look_through(log, None)
    opt.tell_user(f"Made {log}." + ("" if known else " It has no boat file: name one with --boat."))
    return 0


@contextmanager
def _whole(path: Path) -> Iterator[BinaryIO]:
    """A file that gets its name only when it is whole."""
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _name(store: "Store", trip: int | None) -> str:
    from analyzer.exchange import rows

    name = rows.boat_name(store)
    return f"{name}, trip {trip}" if trip else name


def _refuse_terminal(form: str) -> None:
    from analyzer.errors import CannotWrite

    if form == "parquet" and sys.stdout.isatty():
        raise CannotWrite("Parquet is no text for a screen: name a file with --out")


def _there(text: str) -> Path:
    path = Path(text).expanduser()
    if not path.exists():
        raise argparse.ArgumentTypeError(f"there is no file or folder {text!r}")
    return path


def _names(text: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if not names:
        raise argparse.ArgumentTypeError("wants names of channels, with commas between")
    return names


def _step(text: str) -> float:
    try:
        step = float(text)
    except ValueError:
        step = math.nan
    if not 0.1 <= step <= 86400:
        raise argparse.ArgumentTypeError(f"wants 0.1 to 86400 seconds, got {text!r}")
    return step
