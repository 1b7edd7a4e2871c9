"""`keelwatt flags`: what stands, and what happens to it as it happens."""

import argparse
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.faces import sentences
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.text import answers as tell
from analyzer.faces.cli.text.layout import wrapped

if TYPE_CHECKING:
    from analyzer.estimation.results import FlagView

BEAT_S = 1.0  # between looks, assumed
MOST_OVER = 8  # flags that are over and told in full: some two screens; assumed
JUST_NOW_S = 30.0  # of log that may not have been looked through; assumed


def _flags(options: argparse.Namespace) -> int:
    if options.seen is not None:
        opt.log(options).flag_seen(options.seen)
    if options.follow:
        return _follow(options)
    return opt.give(opt.log_knowing(options, JUST_NOW_S).flags(), options.json, _text)


def _text(rows: "Sequence[FlagView]") -> str:
    """Each with its number, for --seen; of those that are over long ago a line each."""
    standing = [row for row in rows if row.cleared_utc_s is None]
    over = [row for row in rows if row.cleared_utc_s is not None]
    whole = [*standing, *over[:MOST_OVER]]
    parts = [f"Flag {row.number}\n{tell.flags([row])}" for row in whole]
    older = over[MOST_OVER:]
    if older:
        lines = [wrapped(sentences.flag_over(row), f"Flag {row.number}: ") for row in older]
        parts.append("\n".join(["Older, in full with --json", *lines]))
    return "\n\n".join(parts) or tell.flags(())


def _follow(options: argparse.Namespace) -> int:
    from analyzer.answers.flags import Changes

    log, changes = opt.log(options), Changes()
    while True:
        for one in changes.of(log.flags()):
            text = one.as_json() if options.json else f"{one.action}: {_text([one.flag])}"
            print(text, flush=True)
        time.sleep(BEAT_S)


COMMANDS = (
    Command(
        "flags",
        _flags,
        "what is getting worse: the flags that stand, and those that are over",
        "keelwatt flags --follow",
        (
            arg(
                "--follow",
                action="store_true",
                help="go on, with a line whenever one is raised, gets worse, is seen or cleared",
            ),
            arg(
                "--seen",
                type=opt.whole(0, 10**9, "a flag's number"),
                metavar="NUMBER",
                help="mark this flag as seen: its tone stops, displays on board show it "
                "acknowledged",
            ),
        ),
    ),
)
