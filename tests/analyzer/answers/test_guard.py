"""A part of `serve` that hangs is said in the log; one that works is not."""

import threading
import time

from analyzer.answers.guard import Guard
from analyzer.flags.follow import Live
from analyzer.flags.watch_keeper import WatchKeeper
from logger.store import Store
from tests.support.motor_boat import motor_boat


def up(path):
    with Store.open(path) as store:
        return [flag.subject for flag in store.flags() if flag.cleared_us is None]


def wait_for(test):
    until = time.monotonic() + 30
    while not test():
        assert time.monotonic() < until
        time.sleep(0.05)


def test_a_watch_that_hangs_is_said_and_cleared_when_it_goes_on(tmp_path, monkeypatch):
    path, go_on = tmp_path / "log.sqlite", threading.Event()
    Store.open(path, write=True).close()
    monkeypatch.setattr(Live, "tick", lambda live: go_on.wait(60) and [])
    guard = Guard(path, look_s=0.05)
    keeper = WatchKeeper(
        lambda: Live(path, motor_boat()), every_s=0.05, pulse=guard.pulse("the live watch", 1.0)
    )
    works = guard.pulse("the pages", 1.0)
    guard.start()
    try:
        until = time.monotonic() + 60
        while not up(path):
            works.beat()
            assert time.monotonic() < until
            time.sleep(0.05)
        assert up(path) == ["the live watch"]
        works.rest()
        go_on.set()
        wait_for(lambda: not up(path))
    finally:
        go_on.set()
        keeper.stop()
        guard.stop()
