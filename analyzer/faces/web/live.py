"""The under-way page, live: one answer a second at most, shared by all who look.

Nothing is worked out while nobody looks. On a slow board an answer may take longer than a second;
then the board rests as long as it worked, and the pages are told once a second how old the last
answer is.
"""

import asyncio
import importlib
import json
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool

from analyzer.answers import Log
from analyzer.answers.flags import Changes
from analyzer.answers.guard import Pulse
from analyzer.estimation.results import FlagView, RangeAnswer
from analyzer.faces import format, units
from analyzer.faces.charts import columns
from logger.units import UNDATED_S

BEAT_S = 1.0  # between events, assumed
ANSWER, LOOK, LOOP = "the live page", "the look through the log", "the pages"
# What takes longer stands still: an answer, a look through months of log on a slow board, a turn
# of the loop that all pages hang on; assumed.
LIMITS_S = {ANSWER: 600.0, LOOK: 3600.0, LOOP: 60.0}
QUIET_S = 15.0  # a sign of life at least this often, before proxies give up; assumed
STALE_S = 15.0  # data older than this are not "now"; common practice, no source
PAST_S = 12 * 3600.0  # older than this, somebody reads an old log and knows it; assumed

Render = Callable[[RangeAnswer], str]


@dataclass(frozen=True)
class Shown:
    """The last answer, ready to be sent."""

    html: dict[units.Units, str]
    look: str  # by the sun
    asked_utc_s: float
    data_age_s: float | None
    at_s: float  # when it was worked out, on the monotonic clock

    def age_s(self) -> float | None:
        """How old its newest data are now."""
        if self.data_age_s is None:
            return None
        return self.data_age_s + time.monotonic() - self.at_s

    def beat(self, html: str = "") -> bytes:
        """One event."""
        age_s = self.age_s()
        told = {
            "moment": ticking(format.moment(self.asked_utc_s, age_s), age_s),
            "stale": ticking(stale_text(self.asked_utc_s, age_s), age_s),
            "age_s": age_s,
            "hollow": "yes" if hollow(age_s) else "",
            "look": self.look,
        }
        return event(told | ({"html": html} if html else {}))


def ticking(text: str, age_s: float | None) -> str:
    """A text with an empty place for its age: the page's clock fills it, board heard or not."""
    return text if age_s is None else text.replace(format.age(age_s), "{age}")


def event(told: dict[str, str | float | None]) -> bytes:
    """A server-sent event."""
    return f"data: {json.dumps(told, ensure_ascii=False)}\n\n".encode()


def stale_text(asked_utc_s: float, age_s: float | None) -> str:
    """What to warn of where the data are not of now; else empty."""
    if not asked_utc_s or (age_s is not None and age_s < STALE_S):
        return ""
    if age_s is None:
        return "This log has no date and is of an earlier start: it is not now."
    if hollow(age_s) or asked_utc_s < UNDATED_S:
        return f"Not now: the data end {format.moment(asked_utc_s, age_s)}."
    return f"This log ends {format.date(asked_utc_s)}, {format.age(age_s)}."


def hollow(age_s: float | None) -> bool:
    """Whether numbers could be taken for the present ones and are not; they are drawn hollow."""
    return age_s is None or STALE_S <= age_s < PAST_S


class Feed:
    """Answers for all readers of the stream.

    Args:
        log: Asked for the range.
        render: Makes the page's parts of an answer.
        look: Gives the look by the sun.
        pulse: Beaten while there are readers.
    """

    def __init__(
        self, log: Log, render: Render, look: Callable[[], str], pulse: Pulse | None = None
    ) -> None:
        self._pulse = pulse or Pulse(ANSWER, LIMITS_S[ANSWER])
        self._log = log
        self._render = render
        self._look = look
        self._shown: Shown | None = None
        self._trouble = ""
        self._readers = 0
        self._wanted: set[units.Units] = set()  # what readers have chosen
        self._worker: asyncio.Task[None] | None = None

    async def events(self) -> AsyncIterator[bytes]:
        """Events for one reader: the parts of the page where they changed, else only the age."""
        self._readers += 1
        wants = units.now()
        self._wanted.add(wants)
        try:
            if self._worker is None or self._worker.done():
                self._worker = asyncio.create_task(self._work())
            sent = ""
            while True:
                shown = self._shown
                if self._trouble:
                    yield event({"trouble": self._trouble})
                elif shown is not None:
                    html = shown.html.get(wants, "")  # empty until the next answer
                    yield shown.beat("" if html == sent else html)
                    sent = html or sent
                await asyncio.sleep(BEAT_S if shown else 0.05)
        finally:
            self._readers -= 1

    async def _work(self) -> None:
        try:
            while self._readers:
                self._pulse.beat()
                began = time.monotonic()
                await self._answer()
                took = time.monotonic() - began
                await asyncio.sleep(max(BEAT_S - took, took))
        finally:
            self._pulse.rest()

    async def _answer(self) -> None:
        try:
            shown = await run_in_threadpool(self._ask)
        except Exception as error:  # whatever it was, the next answer is tried
            self._trouble = format.sentence(str(error) or type(error).__name__)
            return
        self._trouble = ""
        self._shown = shown

    def _ask(self) -> Shown:
        answer = self._log.range_left(None, None, "straight")
        at_s = time.monotonic()  # the answer tells its data's age as of its end
        html = {wants: self._worded(answer, wants) for wants in tuple(self._wanted)}
        return Shown(html, self._look(), answer.asked_utc_s, answer.data_age_s, at_s)

    def _worded(self, answer: RangeAnswer, wants: units.Units) -> str:
        """The page's parts in some units."""
        units.CHOSEN.set(wants)
        return self._render(answer)


async def beat(pulse: Pulse) -> None:
    """Shows that the loop in which all pages are answered turns, until it is cancelled."""
    while True:
        pulse.beat()
        await asyncio.sleep(LIMITS_S[LOOP] / 10)


async def flag_events(ask: Callable[[], Sequence[FlagView]]) -> AsyncIterator[bytes]:
    """Flags as they are raised, get worse, are seen and cleared: server-sent events, one for each
    change; a comment now and then while all is quiet.
    """
    changes, quiet_s = Changes(), 0.0
    while True:
        found = changes.of(await run_in_threadpool(ask))
        for one in found:
            yield f"event: {one.action}\ndata: {one.as_json()}\n\n".encode()
        quiet_s = 0.0 if found else quiet_s + BEAT_S
        if quiet_s >= QUIET_S:
            quiet_s = 0.0
            yield b": still here\n\n"
        await asyncio.sleep(BEAT_S)


class Keeper:
    """Looks through what is new in the log while the pages are served: trips, faults, flags; and
    holds the range answers of trips against the log while nothing is new.

    It rests ten times as long as it worked, so that a small board is left in peace.
    """

    REST_S = 60.0  # flags are not waited for: the watch beside the log has them at once
    READY_S = 3.0  # the first page goes first; then the charts' library is made ready

    def __init__(self, log: Log, pulse: Pulse | None = None) -> None:
        self._log = log
        self._pulse = pulse or Pulse(LOOK, LIMITS_S[LOOK])
        self._seen: float | None = None
        self._looked_back: float | None = None

    async def run(self) -> None:
        """Until it is cancelled."""
        await asyncio.sleep(self.READY_S)
        await run_in_threadpool(importlib.import_module, "analyzer.faces.charts.bokeh_charts")
        await self._days()
        while True:
            began = time.monotonic()
            self._pulse.beat()
            with suppress(Exception):  # the pages say what is wrong; it is tried again
                await run_in_threadpool(self._look)
            self._pulse.rest()
            await asyncio.sleep(max(self.REST_S, 10 * (time.monotonic() - began)))

    async def _days(self) -> None:
        """Reads the last month's days one by one, so that the log is panned from memory."""
        more = True
        while more:
            began = time.monotonic()
            try:
                more = await run_in_threadpool(self._log.remember_day, columns.wanted)
            except Exception:  # panning then reads from the log
                return
            await asyncio.sleep(10 * (time.monotonic() - began))

    def _look(self) -> None:
        span = self._log.span()
        if span is not None and span[1] != self._seen:
            self._log.refresh()
            self._seen = span[1]
        elif self._looked_back != self._seen:
            self._look_back()

    def _look_back(self) -> None:
        """One trip a round, while nothing new comes in; done until something does."""
        left = False
        try:
            left = self._log.look_back(most=1)
        finally:
            if not left:
                self._looked_back = self._seen
