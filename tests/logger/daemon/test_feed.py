"""One source kept alive: mistakes, ends, full queues."""

import itertools
import queue
import time
from collections.abc import Callable

import pytest

from logger.daemon import feed as feeding
from logger.daemon.feed import Feed
from logger.decode.counters import Counters
from logger.errors import BoatFileError, SourceError
from logger.reading import (
    Group,
    Item,
    Quantum,
    Row,
    Source,
)

GROUP = Group("x", ("pack_voltage_v",), (Quantum(0.1),))


class Scripted:
    """Gives what the script says; an exception is raised."""

    name = "x"

    def __init__(self, script: list[object]) -> None:
        self.script, self.closed = script, 0

    def read(self, timeout_s: float) -> list[Item] | None:
        if not self.script:
            time.sleep(0.01)
            return []
        step = self.script.pop(0)
        if isinstance(step, Exception):
            raise step
        return step  # type: ignore[return-value]

    def close(self) -> None:
        self.closed += 1


def rows(count: int) -> list[Item]:
    return [Row(GROUP, k, [51.0]) for k in range(count)]


def run(opener: Callable[[], Source], until: Callable[[Feed], bool], size: int = 10) -> Feed:
    feed = Feed("x", opener, Counters("x"), queue.Queue(size))
    feed.start()
    limit = time.monotonic() + 10
    while not until(feed):
        assert time.monotonic() < limit
        time.sleep(0.01)
    feed.stop()
    feed.join(2)
    assert not feed.alive
    return feed


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(feeding, "FIRST_WAIT_S", 0.01)


def test_a_mistake_in_a_decoder_is_counted_and_the_source_opened_again():
    sources = [Scripted([rows(1), RuntimeError("a bug")]), Scripted([rows(2)])]
    opened = iter(sources)
    feed = run(lambda: next(opened), lambda f: f._batches.qsize() == 2)
    assert feed.counters["internal"] == 1
    assert [source.closed for source in sources] == [1, 1]


def test_a_lost_source_is_opened_again():
    sources = [Scripted([SourceError("pulled out")]), Scripted([rows(1)])]
    opened = iter(sources)
    feed = run(lambda: next(opened), lambda f: f._batches.qsize() == 1)
    assert feed.counters["reconnects"] == 1


def test_a_source_that_cannot_be_opened_is_tried_again_with_longer_waits():
    tries: list[float] = []

    def opener() -> Source:
        tries.append(time.monotonic())
        raise SourceError("not there")

    feed = run(opener, lambda f: f.counters["reconnects"] >= 5)
    assert feed.trouble == "not there"
    waits = [b - a for a, b in itertools.pairwise(tries)]
    assert waits[3] > 3 * waits[0] or waits[3] >= 0.08


def test_wrong_options_end_the_feed():
    def opener() -> Source:
        raise BoatFileError("source x: wrong")

    feed = run(opener, lambda f: not f.alive)
    assert str(feed.failure) == "source x: wrong"


def test_a_recording_that_ended_ends_the_feed():
    feed = run(lambda: Scripted([rows(1), None]), lambda f: not f.alive)
    assert feed._batches.qsize() == 1


def test_a_full_queue_drops_and_counts():
    script: list[object] = [rows(5) for _ in range(8)]
    feed = run(lambda: Scripted(script), lambda f: not script, size=3)
    assert feed.counters["dropped"] == 25


def test_a_source_that_was_asked_to_end_was_up_until_then():
    """The recorder's last word, which check reads, must not call it lost."""
    feed = run(lambda: Scripted([rows(1)]), lambda f: f._batches.qsize() == 1)
    assert feed.up
    ended = run(lambda: Scripted([None]), lambda f: not f.alive)
    assert not ended.up
