"""The questions: range, trips, review, cells, cables."""

import argparse
from pathlib import Path

from analyzer.faces.cli import options as opt


def add(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    """Adds the sub-commands."""
    _add_range(parsers)
    _add_trips(parsers)
    _add_health(parsers)


def _add_range(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    parser = opt.add_command(
        parsers,
        "range",
        _range,
        "how far the pack takes the boat, for how long, and what ends it",
        "keelwatt range --speed 4.5 --stream 1.2@070\n"
        "  4.5 knots through the water, in a stream of 1.2 knots that goes to 070°",
    )
    parser.add_argument(
        "--speed",
        type=opt.speed_kn,
        metavar="KN",
        help="knots through the water (else the present speed)",
    )
    parser.add_argument(
        "--stream",
        type=opt.stream_kn,
        metavar="KN@DEG",
        help="the stream's knots and the direction it goes to (else what the log shows)",
    )
    parser.add_argument(
        "--wind",
        type=opt.wind_kn,
        metavar="KN@DEG",
        help="the true wind's knots and the direction it comes from (else what a sensor shows)",
    )
    parser.add_argument(
        "--home",
        nargs="?",
        const="straight",
        choices=("straight", "track"),
        help="also: can the boat get home, straight or back along its track, and when must it turn",
    )
    parser.add_argument(
        "--home-stream",
        type=_home_stream,
        metavar="same|reversed|CSV",
        help="the stream on the way home: as now, turned right round, or a table with utc, "
        "speed_kn, toward_deg (else going on as it may, the least sure)",
    )
    opt.add_json(parser)
    opt.add_places(parser)


def _home_stream(text: str) -> "str | Path":
    """same, reversed, or a file that is there."""
    if text in ("same", "reversed"):
        return text
    if not Path(text).is_file():
        raise argparse.ArgumentTypeError(
            f"wants same, reversed or a CSV file that is there, got {text!r}"
        )
    return Path(text)


def _add_trips(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    trips = opt.add_command(parsers, "trips", _trips, "list the trips in the log", "keelwatt trips")
    review = opt.add_command(
        parsers,
        "review",
        _review,
        "explain one trip: consumption, where the watt-hours and the volts went, flags",
        "keelwatt review 3",
    )
    review.add_argument(
        "trip", nargs="?", type=opt.trip_number, help="the trip's number (else the newest)"
    )
    review.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="write the trip's report for printing: FILE.html (one file) or FILE.pdf",
    )
    for parser in (trips, review):
        opt.add_json(parser)
        opt.add_places(parser)


def _add_health(parsers: "argparse._SubParsersAction[opt.Parser]") -> None:
    for name, run, text in (
        ("cells", _cells, "say whether a cell falls behind the others, why, and what cures it"),
        ("cables", _cables, "say whether a cable, lug or contactor runs hotter than it should"),
    ):
        parser = opt.add_command(parsers, name, run, text, f"keelwatt {name}")
        opt.add_json(parser)
        opt.add_places(parser)


def _range(options: argparse.Namespace) -> int:
    from analyzer.estimation.results import HomeWish
    from analyzer.faces.cli.text import answers as tell

    home = options.home
    if options.home_stream is not None:
        home = HomeWish(home or "straight", options.home_stream)
    answer = opt.log_knowing(options).range_left(options.speed, options.stream, home, options.wind)
    return opt.give(answer, options.json, tell.range_left)


def _trips(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import answers as tell

    return opt.give(opt.looked_through(options).trips(), options.json, tell.trips)


def _review(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import answers as tell

    log = opt.looked_through(options)
    if options.report is not None:
        from analyzer.faces.report.write import write

        write(log, options.report, options.trip)
        opt.tell_user(f"Written: {options.report}")
    return opt.give(log.review(options.trip), options.json, tell.review)


def _cells(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import answers as tell

    return opt.give(opt.log_knowing(options).cells(), options.json, tell.cells)


def _cables(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import answers as tell

    return opt.give(opt.log_knowing(options).cables(), options.json, tell.cables)
