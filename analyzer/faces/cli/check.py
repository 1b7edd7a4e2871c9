"""check: what arrives, what is wrong with it, what it can answer; and a boat file to begin with.

schema: what --json prints, described for programs.
"""

import argparse
from dataclasses import replace

from analyzer.answers import Log
from analyzer.estimation.results import SourceRow
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base import paths
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.base.remarks import tell_user
from analyzer.faces.cli.text import checked


def _check(options: argparse.Namespace) -> int:
    from logger.discover.ports import found

    if options.files:
        return _look(options)
    if options.starter:
        from logger.boat.starter import starter_text

        print(starter_text(found()), end="")
        return 0
    there = tuple(device.sentence for device in found())
    if options.listen:
        from logger.discover.listen import heard

        there = heard(found(), lambda name: tell_user(f"Listening to {name} ..."))
    log = opt.log(options)
    answer = replace(log.check(there), sources=_sources(log))
    return opt.give(answer, options.json, checked.check)


def _sources(log: Log) -> tuple[SourceRow, ...]:
    """What the boat file on this computer says of each way in."""
    from logger.discover.source_check import look_into

    if log.boat_file is None:
        return ()
    found = look_into(log.boat_file, log.path)
    return tuple(SourceRow(one.name, one.ok, one.text) for one in found)


def _look(options: argparse.Namespace) -> int:
    """Recordings instead of a log: what is in them; of a table without a map, a map."""
    from analyzer.faces.cli.text import playback
    from replay.into_log import Recordings
    from replay.looking import account_of, proposal

    for path in options.files:
        made = "" if options.map else proposal(path)
        if made:
            tell_user(f"A column map for {path} to be corrected; keep it as a .toml beside it.")
            print(made, end="")
            continue
        files = Recordings([path], options.map, options.dbc)
        found = account_of(files, paths.find_boat(options.boat))
        opt.give(found, options.json, playback.account)
    return 0


def _schema(_: argparse.Namespace) -> int:
    from analyzer.answers.schema import FILE

    print(FILE.read_text("utf-8"), end="")
    return 0


COMMANDS = (
    Command(
        "check",
        _check,
        "say what arrives, what is wrong with it, and what it can answer",
        "keelwatt check\n"
        "keelwatt check --listen               also: what do the ports and buses speak?\n"
        "keelwatt check --starter > boat.toml  a commented boat file to begin with\n"
        "keelwatt check outing.nmea            what is in a recording\n"
        "keelwatt check table.csv > table.toml a column map to be corrected",
        (
            arg(
                "files",
                nargs="*",
                help="recordings: what is in them, with nothing stored",
                **opt.FILE,
            ),
            *opt.DECODERS,
            arg(
                "--listen",
                action="store_true",
                help="listen to each port and bus for some seconds and say what it speaks; "
                "not while keelwatt records",
            ),
            arg(
                "--starter",
                action="store_true",
                help="print a commented boat file to begin with",
            ),
        ),
    ),
    Command(
        "schema",
        _schema,
        "print the JSON Schema of every --json, for programs",
        "keelwatt schema > keelwatt.schema.json",
        json=False,
        places=False,
    ),
)
