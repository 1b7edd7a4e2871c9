"""export and import: a trip or a whole log as CSV, Parquet, GPX or packed, and back."""

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.answers import Log
from analyzer.errors import CannotWrite
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base import paths, playback
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.remarks import tell_user
from logger.errors import LoggerError

if TYPE_CHECKING:
    from analyzer.answers.transfer.files import Form


FOLLOW_S = 60.0  # between looks for what is new; assumed


def _export(options: argparse.Namespace) -> int:
    from analyzer.answers.transfer import files

    if options.to is not None:
        return _mirror(options)
    if options.follow:
        raise CannotWrite("--follow keeps a database up: it goes with --to URL")
    log, out = opt.log(options).path, options.out
    form: Form = options.format or (_form_of(out) if out else "csv")
    asked = (options.trip, options.channels, options.step)
    if form == "log":
        _copy(log, out, options.trip)
    elif out is None:
        _refuse_terminal(form)
        Log(log).export(form, sys.stdout.buffer, *asked)
        return 0
    elif form == "parquet" and out.suffix != ".parquet":
        _write_folder(log, out, *asked)
    else:
        with files.whole(out) as file:
            Log(log).export(form, file, *asked)
    tell_user(f"Wrote {out}.")
    return 0


def _mirror(options: argparse.Namespace) -> int:
    if options.trip is not None or options.out is not None or options.format is not None:
        raise CannotWrite(
            "a database takes what is new in the whole log: --to goes with --channels, --step and "
            "--follow only"
        )
    log = opt.log(options)
    _carry(log, options)  # what is wrong from the beginning ends it
    while options.follow:
        time.sleep(FOLLOW_S)
        try:
            _carry(log, options)
        except (CannotWrite, LoggerError) as error:
            tell_user(f"{error}; tried again in {FOLLOW_S:.0f} s.")
    return 0


def _carry(log: Log, options: argparse.Namespace) -> None:
    count = log.mirror(options.to, options.channels, options.step)
    tell_user(f"Carried {count:,} readings over.")


def _write_folder(
    log: Path, out: Path, trip: int | None, channels: Sequence[str], step_s: float | None
) -> None:
    from analyzer.answers.transfer import files

    if trip is not None or channels:
        raise CannotWrite(
            "a folder of Parquet takes the whole log; for a trip or some channels name a file: "
            "--out FILE.parquet"
        )
    files.export_days(log, out, step_s)


def _form_of(out: Path) -> "Form":
    """The form that a file's name says. Raises CannotWrite."""
    from analyzer.answers.transfer import files

    form = files.form_of(out)
    special = out.exists() and not out.is_file()  # a device or a pipe has no ending
    if form is None and not special:
        raise CannotWrite(
            f"{out} wants one of the endings .csv, .bdf.csv, .parquet, .arrow, .gpx, .sqlite and "
            ".sqlite.zst, or --format beside it"
        )
    return form or "csv"


def _copy(log: Path, out: Path | None, trip: int | None) -> None:
    from analyzer.answers.transfer import files

    if out is None or trip is not None:
        raise CannotWrite("the log itself is written whole, to a new file: --format log --out FILE")
    if files.form_of(out) != "log":
        raise CannotWrite(
            f"a log is taken in again only as FILE.sqlite or FILE.sqlite.zst; got {out}"
        )
    files.copy(log, out)


def _import(options: argparse.Namespace) -> int:
    from analyzer.answers.transfer import files, log_copies

    log = paths.find(options.log, options.boat).log
    missing = log_copies.missing_journal(options.file) if options.file.suffix == ".sqlite" else ""
    if missing:
        tell_user(f"Caution: {missing}.")
    boat = paths.find_boat(options.boat) if options.boat else None  # else the log's own
    known = files.make(log, options.file, boat, lambda made: playback.look_through(made, None))
    tell_user(f"Made {log}." + ("" if known else " It has no boat file: name one with --boat."))
    return 0


def _refuse_terminal(form: str) -> None:
    if form in ("parquet", "arrow") and sys.stdout.isatty():
        raise CannotWrite(f"{form.title()} is no text for a screen: name a file with --out")


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


COMMANDS = (
    Command(
        "export",
        _export,
        "write a trip, or channels of the whole log, as CSV, Parquet, Arrow, battery data or GPX, "
        "or the log itself",
        "keelwatt export 2 --out trip2.csv\n"
        "keelwatt export 2 --out trip2.gpx\n"
        "keelwatt export 2 --out trip2.bdf.csv    the battery data format\n"
        "keelwatt export --channels pack_voltage_v,pack_current_a --step 10 > pack.csv\n"
        "keelwatt export --format parquet --out boats/    a folder by boat and day\n"
        "keelwatt export --out log.sqlite.zst   the whole log, also while it is written\n"
        "keelwatt export --to sqlite:///boats.db --step 10    into a database",
        (
            arg(
                "trip",
                nargs="?",
                type=opt.trip_number,
                help="the trip's number (else the whole log)",
            ),
            arg(
                "--channels",
                metavar="A,B",
                type=_names,
                default=(),
                help="names of channels, with commas between (else all)",
            ),
            arg(
                "--step",
                type=opt.number(0.1, 86400, "0.1 to 86400 seconds"),
                metavar="S",
                help="seconds from row to row, each the mean over them (else every reading at its "
                "time)",
            ),
            arg(
                "--format",
                choices=("csv", "parquet", "arrow", "bdf", "gpx", "log"),
                help="what to write (else as FILE ends, else csv); bdf: the battery data format "
                "for laboratories, of the pack or of one voltage channel; log: the whole log as "
                "one file, to keep or to send, smaller where FILE ends in .zst",
            ),
            arg(
                "--out",
                type=Path,
                metavar="FILE",
                help="where to (else the output); Parquet: or a folder",
            ),
            arg(
                "--to",
                metavar="URL",
                help="carry what is new, with trips and flags, into a database, such as "
                "postgresql+psycopg://user@host/name or sqlite:///boats.db",
            ),
            arg("--follow", action="store_true", help="with --to: go on, every minute"),
        ),
        json=False,
    ),
    Command(
        "import",
        _import,
        "make a new log of what `keelwatt export` wrote, or of anybody's GPX track with times",
        "keelwatt import log.sqlite.zst --log other.sqlite\n"
        "keelwatt import boats/ --log other.sqlite",
        (
            arg(
                "file",
                type=_there,
                metavar="FILE",
                help="CSV, Parquet (a folder too), Arrow, GPX, packed log",
            ),
        ),
        json=False,
    ),
)
