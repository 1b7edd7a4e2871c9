"""What stands still is a flag, and none once it goes on."""

import threading
import time
from pathlib import Path

import pytest

from logger import standstill
from logger.daemon import feed as feeding
from logger.daemon.recorder import Recorder
from logger.errors import SourceError
from logger.standstill import Pulse, Pulses
from logger.store import Store
from tests.support.running import Running, free_port, gps, send_udp, sentence


class Clock:
    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def store(tmp_path: Path):
    with Store.open(tmp_path / "log.sqlite", write=True) as log:
        yield log


def up(store: Store) -> list[str]:
    return [flag.subject for flag in store.flags() if flag.cleared_us is None]


def test_a_pulse_stands_still_only_while_something_is_to_be_done():
    clock = Clock()
    pulse = Pulse("a", 10.0, clock)
    clock.now_s += 1000
    assert not pulse.stands  # has not begun
    pulse.beat()
    clock.now_s += 10
    assert not pulse.stands
    clock.now_s += 0.1
    assert pulse.stands
    pulse.rest()
    assert not pulse.stands


def test_a_flag_rises_once_and_falls_when_it_goes_on(store: Store):
    clock = Clock()
    pulses = Pulses("record", look_s=0.0)
    one, other = (pulses.add(Pulse(name, 10.0, clock)) for name in ("one", "other"))
    pulses.tell(store)
    one.beat()
    other.beat()
    clock.now_s += 11
    other.beat()
    for _ in range(3):
        if pulses.due():
            pulses.tell(store)
    assert up(store) == ["one"]
    one.beat()
    assert pulses.due()
    pulses.tell(store)
    assert up(store) == []
    assert not pulses.due()
    assert len(store.flags()) == 1


def test_what_an_earlier_run_left_is_cleared_by_its_own_program_only(store: Store):
    clock = Clock()
    for program in ("record", "serve"):
        pulses = Pulses(program, look_s=0.0)
        pulses.add(Pulse(program, 10.0, clock)).beat()
        clock.now_s += 11
        pulses.tell(store)
    assert up(store) == ["record", "serve"]
    anew = Pulses("record", look_s=0.0)
    assert anew.due()
    anew.tell(store)
    assert up(store) == ["serve"]


class Told:
    """Instead of systemd."""

    def __init__(self) -> None:
        self.alive_s = 0.0

    def alive(self) -> None:
        self.alive_s = time.monotonic()

    def ready(self) -> None: ...
    def stopping(self) -> None: ...
    def status(self, text: str) -> None: ...


def test_a_source_that_hangs_is_said_and_at_last_left_to_systemd(tmp_path, monkeypatch):
    monkeypatch.setattr(feeding, "STILL_S", 0.5)
    monkeypatch.setattr(standstill, "HOPELESS_S", 2.0)
    real, released = Recorder._feed, threading.Event()

    def hang():
        released.wait(60)
        raise SourceError("it hung")

    def hanging(self, spec):
        feed = real(self, spec)
        if spec.name == "hangs":
            feed._opener = hang
        return feed

    monkeypatch.setattr(Recorder, "_feed", hanging)
    port, told = free_port(), Told()
    run = Running(tmp_path, gps(udp=port), {**gps(udp=free_port()), "name": "hangs"}, service=told)
    run.recorder._pulses._look_s = 0.1
    try:
        run.wait_for(lambda: "source hangs" in up(run.store))
        send_udp(port, sentence("IIMTW,18.5,C"))  # the others go on
        run.wait_for(lambda: 18.5 in run.values("water_temp_c"))
        run.wait_for(lambda: time.monotonic() - told.alive_s > 1.0)
        assert up(run.store) == ["source hangs"]
    finally:
        released.set()
        run.close()
