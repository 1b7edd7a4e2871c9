"""The command line: `keelwatt COMMAND ...`. Formatting only; heavy imports wait for their use."""

import argparse
import errno
import os
import signal
import sys
import textwrap
import threading
from collections.abc import Sequence
from typing import Any

from analyzer.errors import AnalyzerError
from analyzer.faces.cli import (
    ask,
    boots,
    check,
    completion,
    export,
    flags,
    fleet,
    passage,
    play,
    publish,
    record,
    season,
    serve,
)
from analyzer.faces.cli.base import paths, remarks
from analyzer.faces.cli.base.options import BESIDE, Parser, meant
from analyzer.faces.cli.base.terminal import width
from logger.errors import DamagedLogError, LoggerError

USER_ERROR = 2
INTERRUPTED = 128 + signal.SIGINT
PIPE_CLOSED = 128 + signal.SIGPIPE
TERMINATED = 128 + signal.SIGTERM
# What a full disk or a device that takes nothing answers: POSIX, by definition.
NO_OUTPUT = (errno.ENOSPC, errno.EIO, errno.EDQUOT, errno.EFBIG)
# Questions that a damaged log can still be asked, and their options that would keep something in it
# or go on.
READERS = (
    "range",
    "plan",
    "trips",
    "review",
    "cells",
    "cables",
    "hull",
    "flags",
    "gain",
    "hindcast",
    "check",
    "boots",
)
KEEPING = ("seen", "follow", "forget_date", "double_run")

_ABOUT = """Battery and motor logger and trip analyzer for electrified sailing boats.
It only listens: it never sends a command that moves, charges or switches anything.
A range is no promise: keep a reserve, a sail ready, an anchor clear to let go."""


GROUPS = (
    play, ask, season, flags, passage, check, boots, serve, export, publish, fleet, record,
    completion,
)  # fmt: skip


def parser() -> Parser:
    """The whole command line."""
    top = Parser(
        prog="keelwatt",
        description="\n".join(textwrap.fill(line, width()) for line in _ABOUT.splitlines()),
        epilog="first steps:\n  keelwatt demo              play an invented outing, "
        "no boat needed\n  keelwatt COMMAND --help    each command with an example\n\n"
        "exit status:\n" + "\n".join(completion.exit_status_lines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action=Version, nargs=0, help="print the release and exit")
    for names, how in BESIDE:
        top.add_argument(*names, **how)
    top.set_defaults(top=top)
    commands = top.add_subparsers(
        title="commands", metavar="COMMAND", required=True, parser_class=Parser
    )
    for group in GROUPS:
        for command in group.COMMANDS:
            command.add_to(commands)
    return top


def parsed(arguments: Sequence[str]) -> argparse.Namespace:
    """What was asked for. A word that is nearly right is named in the one sentence."""
    top = parser()
    names = [command.name for group in GROUPS for command in group.COMMANDS]
    asked = next((word for word in arguments if not word.startswith("-")), None)
    if asked is not None and asked not in names:
        top.error(f"there is no command {asked!r}{meant(asked, names)}")
    options, unknown = top.parse_known_args(arguments)
    if unknown:
        command: Parser = options.parser
        known = [name for action in command._actions for name in action.option_strings]
        wrong = unknown[0].partition("=")[0]
        if wrong.startswith("-"):
            command.error(f"there is no option {wrong}{meant(wrong, known)}")
        command.error(f"it takes no {wrong!r} here")
    return options


class Version(argparse.Action):
    """--version; looked up only when asked."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        """Prints it, and ends."""
        from importlib.metadata import version

        print(f"keelwatt {version('keelwatt')}")
        parser.exit()


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command.

    Returns:
        One of `completion.EXIT_STATUS`; at 2 one sentence on the error output said how.
    """
    # Matrices are small here: numpy's threads would only wait for each other (`range` took twice
    # the processor's time).
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _end)
    try:
        options = parsed(sys.argv[1:] if arguments is None else arguments)
        remarks.want(getattr(options, "beside", "usual"))
        status = _answered(options)
        sys.stdout.flush()
        remarks.tell_more("done")
        return status
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _forget_output()
        return PIPE_CLOSED
    except (AnalyzerError, LoggerError) as error:
        remarks.tell_causes(error)
        return _refuse(str(error))
    except OSError as error:
        if error.filename is None:
            if error.errno not in NO_OUTPUT:
                raise
            _forget_output()
            return _refuse(f"the answer cannot be written to the output: {error.strerror}")
        return _refuse(f"{error.filename}: {error.strerror}")


def _answered(options: argparse.Namespace) -> int:
    """Runs the command; a question to a damaged log is asked of what can be read of it."""
    try:
        status: int = options.run(options)
    except DamagedLogError:
        keeps = any(getattr(options, name, None) for name in KEEPING)
        if options.parser.prog.split()[-1] not in READERS or keeps:
            raise
        named = options.log, options.boat
        damaged = paths.only_demo(*named) or paths.find(*named).log
        options.log, said = record.what_is_left(damaged)
        remarks.tell_user(
            f"{damaged} is damaged: answered from what can be read of it. {said} "
            f"`keelwatt salvage {damaged} --out NEW` keeps that."
        )
        status = options.run(options)
    return status


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
