"""What is done while the pages are served and nobody waits."""

import pytest

from analyzer.errors import NoTrip
from analyzer.faces.web.live import Keeper


class Log:
    """A stand-in that counts; three trips wait to be held against it."""

    def __init__(self):
        self.end_s, self.refreshed, self.waiting, self.asked = 1.0, 0, 3, 0

    def span(self):
        return (0.0, self.end_s)

    def refresh(self):
        self.refreshed += 1

    def look_back(self, most):
        assert most == 1
        self.asked += 1
        self.waiting -= 1
        return self.waiting > 0


def test_a_trip_a_round_until_none_is_left():
    log = Log()
    keeper = Keeper(log)
    for _ in range(8):
        keeper._look()
    assert (log.refreshed, log.asked) == (1, 3)
    log.end_s = 2.0  # something new comes in: it goes first
    keeper._look()
    assert (log.refreshed, log.asked) == (2, 3)


def test_a_log_without_trips_is_not_asked_again_and_again(monkeypatch):
    log, asked = Log(), []

    def refuse(most):
        asked.append(most)
        raise NoTrip("none")

    monkeypatch.setattr(log, "look_back", refuse)
    keeper = Keeper(log)
    keeper._look()
    with pytest.raises(NoTrip):
        keeper._look()
    keeper._look()
    assert asked == [1]
