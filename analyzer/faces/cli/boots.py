"""`keelwatt boots`: how each run of the board was dated, and taking a wrong date back."""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.faces import format
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.text.layout import wrapped

if TYPE_CHECKING:
    from analyzer.estimation.results import BootRow

SOURCES = {"gnss": "a receiver", "ntp": "the system's clock", "file": "the recording"}


def _boots(options: argparse.Namespace) -> int:
    log = opt.log(options)
    if options.forget_date is not None:
        log.forget_date(options.forget_date)
    return opt.give(log.boots(), options.json, _text)


def _text(rows: "Sequence[BootRow]") -> str:
    return "\n".join(_line(row) for row in rows) or "Nothing was recorded yet."


def _line(row: "BootRow") -> str:
    if row.first_utc_s is None or row.last_utc_s is None:
        return f"Boot {row.number}: no readings."
    end = format.until(row.first_utc_s, row.last_utc_s)
    span = f"{format.day(row.first_utc_s)} to {end} {format.zone_name(row.last_utc_s)}"
    if row.dated_by is None:
        said = "no date came; it stands after the boot before it"
    elif not row.believed:
        said = f"the date of {SOURCES[row.dated_by]} is not believed: other boots outvote it"
    else:
        said = f"dated by {SOURCES[row.dated_by]}"
    return wrapped(f"{span}, {said}. {row.remark}".rstrip(), f"Boot {row.number}: ")


COMMANDS = (
    Command(
        "boots",
        _boots,
        "when the board ran, and who said what date it was",
        "keelwatt boots --forget-date 3",
        (
            arg(
                "--forget-date",
                type=opt.whole(-(10**9), 10**9, "a boot's number"),
                metavar="NUMBER",
                help="take this boot's date back: it then stands after the boot before it",
            ),
        ),
    ),
)
