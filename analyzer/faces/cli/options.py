"""What the sub-commands share: options, their types, and how an answer leaves the program."""

import argparse
import json
import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

from analyzer.answers import Log, to_json
from analyzer.faces.cli import paths
from logger.errors import LoggerError
from logger.units import KN

NEWS_S = 1800.0  # of log; an answer reads so much anew by itself


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one sentence, with exit status 2."""

    def error(self, message: str) -> NoReturn:
        """Says what is wrong and where to read more."""
        self.exit(2, f"{self.prog}: {message.replace(chr(10), ' ')}; see {self.prog} --help\n")


def add_command(
    parsers: "argparse._SubParsersAction[Parser]",
    name: str,
    run: Callable[[argparse.Namespace], int],
    text: str,
    example: str,
) -> Parser:
    """A sub-command with its help and an example."""
    parser = parsers.add_parser(
        name,
        help=text,
        description=text[:1].upper() + text[1:] + ".",
        epilog="example:\n" + "\n".join(f"  {line}" for line in example.strip().splitlines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def add_places(parser: Parser) -> None:
    """--log and --boat."""
    group = parser.add_argument_group("where the boat and its log are")
    group.add_argument(
        "--log",
        metavar="FILE",
        help=f"the log (else ${paths.LOG_VARIABLE}, else log_path in the boat file, else "
        "log.sqlite in ~/.local/share/keelwatt)",
    )
    group.add_argument(
        "--boat",
        metavar="FILE",
        help=f"the boat file (else ${paths.BOAT_VARIABLE}, else ~/.config/keelwatt/boat.toml, "
        "else the copy that the log keeps)",
    )


def add_json(parser: Parser) -> None:
    """--json."""
    parser.add_argument(
        "--json", action="store_true", help="for programs: the same answer in SI units"
    )


def find_places(options: argparse.Namespace) -> paths.Places:
    """The two files that the options, the environment and the boat file name."""
    return paths.find(options.log, options.boat)


def log(options: argparse.Namespace) -> Log:
    """Where the questions are put."""
    found = find_places(options)
    return Log(found.log, found.boat)


def looked_through(options: argparse.Namespace) -> Log:
    """The log, after all that is new in the log has been looked through."""
    from analyzer.faces.cli.bar import Bar

    there = log(options)
    with Bar("Looking through what is new in the log") as bar:
        there.refresh(bar)
    return there


def log_knowing(options: argparse.Namespace, news_s: float = NEWS_S) -> Log:
    """The log, with what is new in the log looked through; where that is little, without.

    On the first day, with a boat file and no log yet, it answers from the boat file alone.
    """
    from analyzer.answers.files import empty_log

    found = find_places(options)
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
    print(json.dumps(to_json(answer), ensure_ascii=False) if as_json else text(answer))
    return 0


def tell_user(text: str) -> None:
    """A line beside the answer: to the error output, so that a pipe gets the answer alone."""
    print(text, file=sys.stderr, flush=True)


def speed_kn(text: str) -> float:
    """A positive speed in knots, as m/s."""
    value = _number(text, "a speed in knots, such as 4.5")
    if value <= 0 or value > 60:
        raise argparse.ArgumentTypeError(f"wants a speed in knots from 0 to 60, got {text!r}")
    return value * KN


def stream_kn(text: str) -> tuple[float, float]:
    """KN@DEG: the stream's speed and the direction it goes to, as (m/s, degrees)."""
    wants = "a stream as knots@degrees it goes to, such as 1.5@070"
    speed_text, at, toward_text = text.partition("@")
    if not at:
        raise argparse.ArgumentTypeError(f"wants {wants}, got {text!r}")
    speed, toward = _number(speed_text, wants), _number(toward_text, wants)
    if not 0 <= speed <= 20 or not 0 <= toward <= 360:
        raise argparse.ArgumentTypeError(f"wants 0 to 20 knots and 0 to 360 degrees, got {text!r}")
    return speed * KN, toward % 360


def wind_kn(text: str) -> tuple[float, float]:
    """KN@DEG: the true wind's speed and the direction it comes from, as (m/s, degrees)."""
    wants = "a true wind as knots@degrees it comes from, such as 12@240"
    speed_text, at, source_text = text.partition("@")
    if not at:
        raise argparse.ArgumentTypeError(f"wants {wants}, got {text!r}")
    speed, source = _number(speed_text, wants), _number(source_text, wants)
    if not 0 <= speed <= 100 or not 0 <= source <= 360:
        raise argparse.ArgumentTypeError(f"wants 0 to 100 knots and 0 to 360 degrees, got {text!r}")
    return speed * KN, source % 360


def trip_number(text: str) -> int:
    """A trip's number, 1 or more."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(
            f"wants a trip's number as `keelwatt trips` lists it, got {text!r}"
        )
    return int(text)


def existing_file(text: str) -> Path:
    """A file that is there."""
    path = Path(text).expanduser()
    if not path.is_file():
        raise argparse.ArgumentTypeError(f"there is no file {text!r}")
    return path


def _number(text: str, wants: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"wants {wants}, got {text!r}")
    return value
