"""`keelwatt season`: everything that a season's trips have found."""

import argparse
from pathlib import Path

from analyzer.faces import seasons
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.remarks import tell_user
from analyzer.faces.cli.text import season as text


def _season(options: argparse.Namespace) -> int:
    start_s, end_s = seasons.asked_days(options.year, options.first, options.last)
    log = opt.looked_through(options)
    if options.look_back:
        from analyzer.faces.cli.base.progress import Bar

        with Bar("Holding the range answers against the log") as bar:
            log.look_back(start_s, end_s, progress=bar)
    answer = log.season(start_s, end_s)
    if options.report is not None:
        from analyzer.faces.report import season as paper
        from analyzer.faces.report.write import write_paper

        write_paper(paper.report(answer), options.report)
        tell_user(f"Written: {options.report}")
    return opt.give(answer, options.json, text.season)


COMMANDS = (
    Command(
        "season",
        _season,
        "a season together: miles, hours, energy, consumption, growth, pack, best and worst days, "
        "and how well the range answers held",
        "keelwatt season --year 2026\n"
        "  the trips of 2026; without a year or days, the year up to the newest trip",
        (
            arg(
                "--year",
                type=opt.whole(1990, 2200, "a year such as 2026"),
                metavar="Y",
                help="the trips of one calendar year",
            ),
            arg(
                "--from",
                dest="first",
                metavar="DAY",
                help="trips from this day on, 2026-05-01 (else from the log's beginning)",
            ),
            arg(
                "--to",
                dest="last",
                metavar="DAY",
                help="trips up to this day, which counts (else up to the newest)",
            ),
            arg(
                "--look-back",
                action="store_true",
                help="first hold the range answers of trips not yet held against the log; some "
                "seconds a trip, once",
            ),
            arg(
                "--report",
                type=Path,
                metavar="FILE",
                help="write the season's report for printing: FILE.html (one file) or FILE.pdf",
            ),
        ),
    ),
)
