"""How a run gets on: a bar on a terminal; for many logs, where there is none, a line a minute."""

import sys
import time
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from analyzer.faces.cli.base import remarks

if TYPE_CHECKING:
    from analyzer.fleet.run import Tally

EVERY_S = 60.0  # between lines, assumed


class Bar(AbstractContextManager["Bar"]):
    """A progress bar on the error output, only where that is a terminal.

    Args:
        text: What is going on.
    """

    def __init__(self, text: str) -> None:
        self._bar: Any = None
        if remarks.are_quiet() or not sys.stderr.isatty():
            return
        from tqdm import tqdm

        self._bar = tqdm(
            desc=text,
            total=1.0,
            leave=False,
            bar_format="{desc}: {percentage:3.0f}% |{bar}| {elapsed} gone, {remaining} to go",
        )

    def __call__(self, done: float) -> None:
        """Shows how much is done, 0 to 1."""
        if self._bar is not None:
            self._bar.update(max(min(done, 1.0) - self._bar.n, 0.0))

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.close()


class Pace:
    """Called with the tally after each log; shows it when it is time to.

    Args:
        bar: Shows it on a terminal.
    """

    def __init__(self, bar: Bar) -> None:
        self._bar = bar
        self._start_s = self._said_s = time.monotonic()

    def __call__(self, tally: "Tally") -> None:
        self._bar(tally.done / max(tally.total, 1))
        now_s = time.monotonic()
        if now_s - self._said_s >= EVERY_S and not sys.stderr.isatty():
            self._said_s = now_s
            remarks.tell_user(line(tally, now_s - self._start_s))


def line(tally: "Tally", gone_s: float) -> str:
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
