"""The command line: `keelwatt COMMAND ...`. Formatting only; heavy imports wait for their use."""

import argparse
import os
import signal
import sys
import threading
from collections.abc import Sequence

from analyzer.errors import AnalyzerError
from analyzer.faces.cli import (
    ask,
    boots,
    check,
    export,
    flags,
    fleet,
    passage,
    play,
    record,
    serve,
)
from analyzer.faces.cli.options import Parser
from logger.errors import LoggerError

USER_ERROR = 2
INTERRUPTED = 128 + signal.SIGINT
PIPE_CLOSED = 128 + signal.SIGPIPE
TERMINATED = 128 + signal.SIGTERM

_ABOUT = """Battery and motor logger and trip analyzer for electrified sailing boats.
It only listens: it never sends a command that moves, charges or switches anything.
A range is no promise: keep a reserve, a sail ready, an anchor clear to let go."""


def parser() -> Parser:
    """The whole command line."""
    top = Parser(
        prog="keelwatt",
        description=_ABOUT,
        epilog="first steps:\n  keelwatt demo              play an invented outing, "
        "no boat needed\n  keelwatt COMMAND --help    each command with an example",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = top.add_subparsers(
        title="commands", metavar="COMMAND", required=True, parser_class=Parser
    )
    for group in (play, ask, flags, passage, check, boots, serve, export, fleet, record):
        for command in group.COMMANDS:
            command.add_to(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command.

    Returns:
        0 done; 2 the user can put it right, one sentence on the error output said how; 130 and
        141 interrupted, and the reader of the output went away; 143 asked to end.
    """
    # Matrices are small here: numpy's threads would only wait for each other (`range` took twice
    # the processor's time).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _end)
    try:
        options = parser().parse_args(arguments)
        status: int = options.run(options)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _forget_output()
        return PIPE_CLOSED
    except (AnalyzerError, LoggerError) as error:
        return _refuse(str(error))
    except OSError as error:
        if error.filename is None:
            raise
        return _refuse(f"{error.filename}: {error.strerror}")


def _end(*_: object) -> None:
    """Asked to end: what is open is closed on the way out, as for Ctrl-C."""
    raise SystemExit(TERMINATED)


def _refuse(text: str) -> int:
    sentences = [" ".join(line.split()) for line in text.splitlines()]
    print("keelwatt: " + "\n".join(sentences), file=sys.stderr)
    return USER_ERROR


def _forget_output() -> None:
    """Python flushes the output once more at its end; that must not fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
