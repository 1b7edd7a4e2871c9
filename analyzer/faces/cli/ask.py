"""The questions: range, trips, review, cells, cables, gain."""

import argparse
from pathlib import Path

from analyzer.estimation.results import HomeWish
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.remarks import tell_user
from analyzer.faces.cli.text import answers as tell
from analyzer.faces.cli.text import gain as text_gain


def _range(options: argparse.Namespace) -> int:
    home = options.home
    if options.home_stream is not None:
        home = HomeWish(home or "straight", options.home_stream)
    log = opt.log_knowing(options)
    asked = (options.speed, options.stream, home, options.wind)
    if options.what_if:
        changed = log.range_what_if(options.what_if, *asked)
        return opt.give(changed, options.json, text_gain.range_what_if)
    return opt.give(log.range_left(*asked), options.json, tell.range_left)


def _trips(options: argparse.Namespace) -> int:
    return opt.give(opt.looked_through(options).trips(), options.json, tell.trips)


def _review(options: argparse.Namespace) -> int:
    log = opt.looked_through(options)
    if options.report is not None:
        from analyzer.faces.report.write import write

        write(log, options.report, options.trip)
        tell_user(f"Written: {options.report}")
    if options.what_if:
        changed = log.review_what_if(options.what_if, options.trip)
        return opt.give(changed, options.json, text_gain.trip_what_if)
    return opt.give(log.review(options.trip), options.json, tell.review)


def _cells(options: argparse.Namespace) -> int:
    return opt.give(opt.log_knowing(options).cells(), options.json, tell.cells)


def _cables(options: argparse.Namespace) -> int:
    return opt.give(opt.log_knowing(options).cables(), options.json, tell.cables)


def _gain(options: argparse.Namespace) -> int:
    return opt.give(opt.looked_through(options).gain(), options.json, text_gain.gain)


def _home_stream(text: str) -> str | Path:
    """same, reversed, or a file that is there."""
    if text in ("same", "reversed"):
        return text
    if not Path(text).is_file():
        raise argparse.ArgumentTypeError(
            f"wants same, reversed or a file that is there, got {text!r}"
        )
    return Path(text)


COMMANDS = (
    Command(
        "range",
        _range,
        "how far the pack takes the boat, for how long, and what ends it",
        "keelwatt range --speed 4.5 --stream 1.2@070\n"
        "  4.5 knots through the water, in a stream of 1.2 knots that goes to 070°",
        (
            arg(
                "--speed",
                type=opt.speed_kn,
                metavar="KN",
                help="knots through the water (else the present speed)",
            ),
            arg(
                "--stream",
                type=opt.stream_kn,
                metavar="KN@DEG",
                help="the stream's knots and the direction it goes to (else what the log shows)",
            ),
            arg(
                "--wind",
                type=opt.wind_kn,
                metavar="KN@DEG",
                help="the true wind's knots and the direction it comes from (else what a sensor "
                "shows)",
            ),
            arg(
                "--home",
                nargs="?",
                const="straight",
                choices=("straight", "track"),
                help="also: can the boat get home, straight or back along its track, and when must "
                "it turn",
            ),
            arg(
                "--home-stream",
                type=_home_stream,
                metavar="same|reversed|FILE",
                help="the stream on the way home: as now, turned right round, or a file as for "
                "plan --stream-table (else going on as it may, the least sure)",
            ),
            opt.WHAT_IF,
        ),
    ),
    Command("trips", _trips, "list the trips in the log", "keelwatt trips"),
    Command(
        "review",
        _review,
        "explain one trip: consumption, where the watt-hours and the volts went, flags",
        "keelwatt review 3",
        (
            arg(
                "trip", nargs="?", type=opt.trip_number, help="the trip's number (else the newest)"
            ),
            arg(
                "--report",
                type=Path,
                metavar="FILE",
                help="write the trip's report for printing: FILE.html (one file) or FILE.pdf",
            ),
            opt.WHAT_IF,
        ),
    ),
    Command(
        "cells",
        _cells,
        "say whether a cell falls behind the others, why, and what cures it",
        "keelwatt cells",
    ),
    Command(
        "cables",
        _cables,
        "say whether a cable, lug or contactor runs hotter than it should",
        "keelwatt cables",
    ),
    Command(
        "gain",
        _gain,
        "what would help most: slower, cleaner, another pack, cable, panel or propeller, each with "
        "its range",
        "keelwatt gain",
    ),
)
