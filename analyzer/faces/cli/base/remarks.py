"""What is said beside an answer, on the error output: as much as --quiet and --verbose ask for."""

import sys
import time
from typing import Literal

Level = Literal["quiet", "usual", "verbose"]
_begun_s = time.monotonic()
_wanted: Level = "usual"


def want(level: Level) -> None:
    """How much is said from now on."""
    global _begun_s, _wanted
    _begun_s, _wanted = time.monotonic(), level


def are_quiet() -> bool:
    """Whether nothing is to be said beside the answer."""
    return _wanted == "quiet"


def tell_user(text: str) -> None:
    """A line beside the answer, so that a pipe gets the answer alone."""
    if not are_quiet():
        print(text, file=sys.stderr, flush=True)


def tell_error(text: str) -> None:
    """What went wrong, said however quiet it is to be."""
    print(text, file=sys.stderr, flush=True)


def tell_more(text: str) -> None:
    """A line for --verbose, with the seconds since the command began."""
    if _wanted == "verbose":
        print(f"{time.monotonic() - _begun_s:6.2f} s  {text}", file=sys.stderr, flush=True)


def tell_causes(error: BaseException) -> None:
    """For --verbose: what lies behind an error, and where in the program it came from."""
    if _wanted != "verbose":
        return
    import traceback

    traceback.print_exception(error)
