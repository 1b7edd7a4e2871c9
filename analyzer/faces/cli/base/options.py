"""What the sub-commands share: options, their types, and how an answer leaves the program."""

import argparse
import json
import math
import textwrap
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from analyzer.answers import Log, to_json
from analyzer.faces.cli.base import paths
from analyzer.faces.cli.base.remarks import tell_more, tell_user
from analyzer.faces.cli.base.terminal import width
from logger.errors import DamagedLogError, LoggerError, StoreError
from logger.units import KN

NEWS_S = 1800.0  # of log; an answer reads so much anew by itself; assumed


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one sentence, with exit status 2."""

    def error(self, message: str) -> NoReturn:
        """Says what is wrong and where to read more."""
        text = message.replace(chr(10), " ")
        text = text if text.endswith("?") else f"{text};"
        self.exit(2, f"{self.prog}: {text} see {self.prog} --help\n")


def meant(word: str, known: Iterable[str]) -> str:
    """ "; did you mean ...?" where a known word is nearly the same, else empty."""
    from difflib import get_close_matches

    near = get_close_matches(word, list(known), n=1)
    return f"; did you mean {near[0]}?" if near else ""


Argument = tuple[tuple[str, ...], dict[str, Any]]  # for `add_argument`


@dataclass(frozen=True)
class Command:
    """A sub-command. run: gives the exit status. json, places: whether it has those options."""

    name: str
    run: Callable[[argparse.Namespace], int]
    text: str
    example: str
    arguments: tuple[Argument, ...] = ()
    json: bool = True
    places: bool = True

    def add_to(self, parsers: "argparse._SubParsersAction[Parser]") -> None:
        """Makes it known, with its help and an example."""
        lines = (f"  {line}" for line in self.example.strip().splitlines())
        parser = parsers.add_parser(
            self.name,
            help=self.text,
            description=textwrap.fill(self.text[:1].upper() + self.text[1:] + ".", width()),
            epilog="\n".join(("example:", *lines)),
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        parser.set_defaults(run=self.run, parser=parser)
        _add(parser, self.arguments)
        if self.json:
            _add(parser, (JSON,))
        _add(parser, BESIDE)
        if self.places:
            _add(parser.add_argument_group("where the boat and its log are"), PLACES)


def _add(to: argparse._ActionsContainer, arguments: Iterable[Argument]) -> None:
    for names, how in arguments:
        to.add_argument(*names, **how)


def arg(*names: str, **how: Any) -> Argument:
    """An argument, as `add_argument` takes it."""
    return names, how


JSON = arg("--json", action="store_true", help="for programs: the same answer in SI units")
# Without a default of their own, so that they may stand before the command too.
BESIDE = (
    arg(
        "-q",
        "--quiet",
        dest="beside",
        action="store_const",
        const="quiet",
        default=argparse.SUPPRESS,
        help="the answer alone: no remarks and no progress beside it; errors are told",
    ),
    arg(
        "-v",
        "--verbose",
        dest="beside",
        action="store_const",
        const="verbose",
        default=argparse.SUPPRESS,
        help="say which files are used and what takes how long; of an error, where it came from",
    ),
)
PLACES = (
    arg(
        "--log",
        metavar="FILE",
        help=f"the log (else ${paths.LOG_VARIABLE}, else log_path in the boat file, else "
        "log.sqlite in ~/.local/share/keelwatt)",
    ),
    arg(
        "--boat",
        metavar="FILE",
        help=f"the boat file (else ${paths.BOAT_VARIABLE}, else ~/.config/keelwatt/boat.toml, "
        "else the copy that the log keeps)",
    ),
)


def find_places(options: argparse.Namespace) -> paths.Places:
    """The two files that the options, the environment and the boat file name."""
    from analyzer.answers.transfer.log_copies import missing_journal

    found = paths.find(options.log, options.boat)
    tell_more(f"the log is {found.log}, the boat file {found.boat or 'the copy in it'}")
    missing = missing_journal(found.log)
    if missing:
        tell_user(f"Caution: {missing}.")
    return found


def log(options: argparse.Namespace) -> Log:
    """Where the questions are put: the demo's log as long as there is no other."""
    demo = paths.only_demo(options.log, options.boat)
    if demo is not None:
        tell_user("Asked of the invented demo, as there is no log or boat file of your own yet.")
        tell_more(f"its log is {demo}")
        return Log(demo)
    found = find_places(options)
    return Log(found.log, found.boat)


def looked_through(options: argparse.Namespace) -> Log:
    """The log, after all that is new in it has been looked through; a copy of one that cannot be
    written, as on a read-only medium."""
    from analyzer.answers.transfer.log_copies import copy_for_now

    there = log(options)
    try:
        _look_through(there)
        return there
    except DamagedLogError:
        raise
    except StoreError as error:
        copy = Log(copy_for_now(there.path), there.boat_file)
        tell_user(f"Answered from a copy, as what is found cannot be kept: {error}.")
        _look_through(copy)
        return copy


def _look_through(there: Log) -> None:
    from analyzer.faces.cli.base.progress import Bar

    with Bar("Looking through what is new in the log") as bar:
        there.refresh(bar)
    tell_more("what is new has been looked through")


def log_knowing(options: argparse.Namespace, news_s: float = NEWS_S) -> Log:
    """The log, with what is new in the log looked through; where that is little, without.

    On the first day, with a boat file and no log yet, it answers from the boat file alone.
    """
    from analyzer.answers.transfer.log_copies import empty_log

    found = paths.find(options.log, options.boat)
    if options.log is None and found.boat is not None and not found.log.exists():
        return Log(empty_log(), found.boat)
    there = log(options)
    if there.new_s() <= news_s:
        return there
    try:
        return looked_through(options)
    except LoggerError as error:  # somebody else's log is read as it is
        tell_user(f"What is new may be missing here, as the log cannot be kept up: {error}.")
        return there


def give(answer: Any, as_json: bool, text: Callable[[Any], str]) -> int:
    """Prints an answer."""
    tell_more("the answer is there")
    print(json.dumps(to_json(answer), ensure_ascii=False) if as_json else text(answer))
    return 0


def number(low: float, high: float, wants: str) -> Callable[[str], float]:
    """A type of option: a number between two, both included."""

    def read(text: str) -> float:
        return _between(text, text, low, high, wants)

    return read


def whole(low: int, high: int, wants: str) -> Callable[[str], int]:
    """A type of option: a whole number between two, both included."""

    def read(text: str) -> int:
        if not text.isdecimal() or not low <= int(text) <= high:
            raise argparse.ArgumentTypeError(f"wants {wants}, got {text!r}")
        return int(text)

    return read


def speed_kn(text: str) -> float:
    """A positive speed in knots, as m/s."""
    wants = "a speed in knots from 0 to 60, such as 4.5"
    return _between(text, text, 1e-9, 60, wants) * KN


def knots_at(most_kn: float, wants: str) -> Callable[[str], tuple[float, float]]:
    """A type of option: KN@DEG, a speed and a direction, as (m/s, degrees)."""
    wants = f"{wants}, 0 to {most_kn:g} knots and 0 to 360 degrees"

    def read(text: str) -> tuple[float, float]:
        speed, _, degrees = text.partition("@")
        speed_mps = _between(text, speed, 0, most_kn, wants) * KN
        return speed_mps, _between(text, degrees, 0, 360, wants) % 360

    return read


stream_kn = knots_at(20, "a stream as knots@degrees it goes to, such as 1.5@070")
wind_kn = knots_at(100, "a true wind as knots@degrees it comes from, such as 12@240")
trip_number = whole(1, 10**9, "a trip's number as `keelwatt trips` lists it")


def existing_file(text: str) -> Path:
    """A file that is there."""
    path = Path(text).expanduser()
    if not path.is_file():
        raise argparse.ArgumentTypeError(f"there is no file {text!r}")
    return path


def _between(whole_text: str, text: str, low: float, high: float, wants: str) -> float:
    """A part of what was written, as a number that lies between two."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"wants {wants}, got {whole_text!r}")
    return value


WHAT_IF = arg(
    "--what-if",
    action="append",
    default=[],
    metavar="KEY=VALUE",
    help="the same with another number in the boat file, such as pack.rated_capacity_ah=200 or "
    "solar.peak_w=400, beside the boat as it is; may be given again",
)
FILE: dict[str, Any] = {"type": existing_file, "metavar": "FILE"}
DECODERS = (  # of recordings
    arg(
        "--dbc",
        action="append",
        default=[],
        help="a CAN database; may be given again",
        **FILE,
    ),
    arg(
        "--map",
        action="append",
        default=[],
        help="a column map (TOML) for the CSV files; may be given again",
        **FILE,
    ),
)
