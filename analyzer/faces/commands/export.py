"""export: channels of a trip or of the whole log as CSV, its track as GPX, the log itself."""

import argparse
import math
import sys
from pathlib import Path
from typing import TextIO

from analyzer.faces.commands import options as opt


def add(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    """Adds the sub-command."""
    parser = opt.add_command(
        parsers,
        "export",
        _export,
        "write a trip, or channels of the whole log, as CSV, its track as GPX, or the log itself",
        "keelwatt export 2 --out trip2.csv\n"
        "keelwatt export 2 --format gpx --step 5 --out trip2.gpx\n"
        "keelwatt export --channels pack_voltage_v,pack_current_a --step 10 > pack.csv\n"
        "keelwatt export --format log --out copy.sqlite   also while it is being written",
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
        default=1.0,
        metavar="S",
        help="seconds from row to row (%(default)g); a row is the mean over its step",
    )
    parser.add_argument(
        "--format",
        choices=("csv", "gpx", "log"),
        default="csv",
        help="what to write (%(default)s); log: the whole log as one file, to keep or to send",
    )
    parser.add_argument("--out", type=Path, metavar="FILE", help="where to (else the output)")
    opt.add_places(parser)


def _export(options: argparse.Namespace) -> int:
    if options.format == "log":
        return _copy(options)
    if options.out is None:
        _write(options, sys.stdout)
        return 0
    with options.out.open("w", encoding="utf-8", newline="") as file:
        _write(options, file)
    opt.tell_user(f"Wrote {options.out}.")
    return 0


def _copy(options: argparse.Namespace) -> int:
    from logger.errors import StoreError
    from logger.store import Store

    if options.out is None or options.trip is not None:
        raise StoreError("the log itself is written whole, to a new file: --format log --out FILE")
    with Store.open(opt.find_places(options).log) as store:
        store.back_up(options.out)
    opt.tell_user(f"Wrote {options.out}.")
    return 0


def _write(options: argparse.Namespace, out: TextIO) -> None:
    desk = opt.desk(options)
    if options.format == "gpx":
        out.write(desk.gpx(options.trip, options.step))
    else:
        desk.write_csv(out, options.trip, options.channels, options.step)


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
