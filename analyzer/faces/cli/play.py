"""demo and replay: recorded files played into a log."""

import argparse
import math
import shlex
from pathlib import Path

from analyzer.answers import Log
from analyzer.faces.cli import serve
from analyzer.faces.cli.base import options as opt
from analyzer.faces.cli.base import paths, playback, remarks, terminal
from analyzer.faces.cli.base.options import Command, arg
from analyzer.faces.cli.text import answers as tell

NOTHING = 1  # exit status where nothing was stored: common practice, no source


def _demo(options: argparse.Namespace) -> int:
    from replay.into_log import shipped_demo

    log = Path(options.log).expanduser() if options.log else paths.demo_folder() / "log.sqlite"
    boat, files = shipped_demo()
    playback.remove_log(log)
    playback.play_into(log, files, boat)
    played = Log(log)
    status = opt.give(played.range_left(home="straight"), options.json, tell.range_left)
    if options.serve:
        return serve.serve(played, options)
    if not options.json and not remarks.are_quiet():
        print(f"\n{_what_next(log)}")
    return status


def _what_next(log: Path) -> str:
    usual = log == paths.demo_folder() / "log.sqlite"
    call = terminal.program()
    # questions find the usual log by themselves, as long as there is no other
    option = "" if paths.only_demo() == log else f" --log {shlex.quote(str(log))}"
    return (
        "The boat, its numbers and this outing are invented. To look further:\n"
        f"  {call} review{option}\n"
        f"  {call} serve{option}\n"
        + (f"  or at once: {call} demo --serve\n" if usual else "")
        + f"and open http://{serve.HOST}:{serve.PORT}/ in a browser."
    )


def _replay(options: argparse.Namespace) -> int:
    from analyzer.faces.cli.text import playback as text
    from replay.into_log import Recordings

    found = opt.find_places(options)
    files = Recordings(options.files, options.map, options.dbc)
    played = playback.play_into(found.log, files, found.boat, options.pace)
    opt.give(played.account, options.json, text.account)
    if not played.account.readings:
        remarks.tell_error(
            "keelwatt: nothing of it could be stored; frames want a DBC file (--dbc), tables a "
            "column map (--map), lines of other devices the boat file that names their source"
        )
        return NOTHING
    if not options.json and not remarks.are_quiet():
        print(f"Played into {found.log}. {_ask(played.knows_boat, found.log)}")
    return 0


def _ask(knows_boat: bool, log: Path) -> str:
    call, where = terminal.program(), shlex.quote(str(log))
    if knows_boat:
        return f"Ask it: {call} range --log {where}"
    return (
        f"It can be exported: {call} export --log {where}\n"
        f"To ask how far, name the boat's file with --boat; {call} check --starter writes one "
        "to begin with."
    )


def _pace(text: str) -> float | None:
    if text in ("flat", "real"):
        return None if text == "flat" else 1.0
    try:
        pace = float(text)
    except ValueError:
        pace = math.nan
    if not 0 < pace < math.inf:
        raise argparse.ArgumentTypeError(f'wants "real", "flat" or a number above 0, got {text!r}')
    return pace


COMMANDS = (
    Command(
        "demo",
        _demo,
        "play an invented outing into a fresh log and answer the main questions",
        "keelwatt demo --serve\n  and then look at http://127.0.0.1:8765/ in a browser",
        (
            arg("--serve", action="store_true", help="then show the pages"),
            arg(
                "--log",
                metavar="FILE",
                help="where the demo's log goes, replacing what is there "
                "(else demo/log.sqlite in ~/.local/share/keelwatt)",
            ),
            *serve.ADDRESS,
        ),
        places=False,
    ),
    Command(
        "replay",
        _replay,
        "play recorded files into the log, as if they arrived now",
        "keelwatt replay outing.candump.log outing.nmea --dbc motor.dbc \\\n"
        "      --log outing.sqlite\n"
        "keelwatt replay table.csv --map columns.toml --pace 60",
        (
            arg(
                "files",
                nargs="+",
                help="candump text, ASC, BLF, TRC, NMEA 0183 lines or CSV; played together by "
                "their own times",
                **opt.FILE,
            ),
            *opt.DECODERS,
            arg(
                "--pace",
                type=_pace,
                metavar="N",
                help='"flat" (the default) waits for nothing, "real" plays as it was, N is N times '
                "as fast",
            ),
        ),
    ),
)
