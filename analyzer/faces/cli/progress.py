"""How a long run gets on, and when it will be over: a bar on a terminal, else a line a minute."""

import sys
import time
from datetime import datetime, timedelta
from types import TracebackType
from typing import Self

from analyzer.faces.cli.bar import Bar
from analyzer.fleet.run import Tally

EVERY_S = 60.0


class Pace:
    """Called with the tally after each log.

    Args:
        total: Logs in all.
    """

    def __init__(self, total: int) -> None:
        self._bar = Bar(f"Looking at {total} logs")
        self._start_s = self._said_s = time.monotonic()

    def __call__(self, tally: Tally) -> None:
        """Shows it, if it is time to."""
        self._bar(tally.done / max(tally.total, 1))
        now_s = time.monotonic()
        if now_s - self._said_s >= EVERY_S and not sys.stderr.isatty():
            self._said_s = now_s
            print(line(tally, now_s - self._start_s), file=sys.stderr, flush=True)

    def __enter__(self) -> Self:
        self._bar.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.__exit__(kind, error, trace)


def line(tally: Tally, gone_s: float) -> str:
    """The same as a line of text.

    gone_s: since the beginning.
    """
    text = f"{tally.done} of {tally.total} logs, {len(tally.skipped)} skipped"
    worked = tally.looked + len(tally.skipped)
    if not worked:
        return text
    left_s = gone_s / worked * (tally.total - tally.done)
    end = datetime.now() + timedelta(seconds=left_s)
    return f"{text}; about {left_s / 60:.0f} min to go, until {end:%H:%M}"
