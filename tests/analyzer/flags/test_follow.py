"""The live watch on a log that grows while it looks."""

import socket
import threading
import time

import pynmea2

from analyzer.flags.follow import Growth, Live
from analyzer.flags.watch_keeper import WatchKeeper
from logger.boat import Boat, Motor, Tell
from logger.reading import (
    Group,
    Quantum,
    Row,
    UtcFix,
)
from logger.store import Store
from tests.support.motor_boat import PROBED, motor_boat

NAMES = ("pack_current_a", "pack_voltage_v", "motor_temp_c", "pack_temp_c")
GROUP = Group("test/all", NAMES, tuple(Quantum() for _ in NAMES))


def boat(**more) -> Boat:
    return motor_boat(
        motor=Motor(rated_power_w=6000, motor_max_temp_c=120),
        cable=(PROBED,),
        **more,
    )


def test_a_cause_is_a_flag_within_two_seconds_of_data_and_is_told(tmp_path):
    path = tmp_path / "log.sqlite"
    heard = []
    with (
        Store.open(path, write=True) as store,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener,
    ):
        listener.bind(("127.0.0.1", 0))
        listener.settimeout(5)
        way = Tell(kind="udp", port=listener.getsockname()[1])
        writer = store.writer("boot")
        writer.add(UtcFix(0, 1_700_000_000_000_000, "gnss", 0.1))
        writer.add(Row(GROUP, 0, [5.0, 52.0, 50.0, 20.0]))
        writer.flush()
        live = Live(path, boat(tell=(way,)), heard.append)
        for second in range(1, 120):
            hot = 130.0 if second >= 60 else 50.0
            writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, hot, 20.0]))
            writer.flush()
            live.tick()
            if heard:
                break
        assert heard[0].flag.kind == "motor_hot"
        held_s = 15.0  # the limit's own persistence
        assert second - 60 <= held_s + 2
        (flag,) = store.flags()
        assert flag.number == heard[0].flag.number or heard[0].flag.number is None
        lines = [listener.recv(200).decode()]
        while "ALR" not in lines[-1]:
            lines.append(listener.recv(200).decode())
        assert any("XDR" in line for line in lines)
        live.close()
        writer.close()


def test_a_second_run_over_the_same_log_makes_no_second_flag(tmp_path):
    from analyzer.flags import monitor

    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        for second in range(400):
            hot = 130.0 if 100 <= second < 200 else 50.0
            writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, hot, 20.0]))
        writer.close()
        live = Live(path, boat())
        live.tick()
        assert len(store.flags()) == 1
        monitor.run(store, boat())
        assert len(store.flags()) == 1
        live.close()


def test_an_empty_log_is_waited_for(tmp_path):
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True):
        live = Live(path, boat())
        assert live.tick() == []
        live.close()


def test_the_thread_sees_what_another_writes_and_stops_when_told(tmp_path):
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        end = WatchKeeper(lambda: Live(path, boat())).stop
        for second in range(100):
            writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, 130.0, 20.0]))
        writer.flush()
        for _ in range(100):
            if store.flags():
                break
            time.sleep(0.1)
        end()
        writer.close()
        (flag,) = store.flags()
    assert flag.kind == "motor_hot"
    assert not any(t.name == "watch" for t in threading.enumerate())


def fields(line: str) -> list[str]:
    """Of an alarm sentence, checked by pynmea2's own checksum; it knows no ALR to take apart."""
    inner, check = line.strip()[1:].split("*")
    assert pynmea2.NMEASentence.checksum(inner) == int(check, 16)
    return inner.split(",")


def growing(tmp_path, pace: float):
    """A log that grew for ten minutes of the clock at this pace, then no more."""
    now = [0.0]
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, 1_700_000_000_000_000, "gnss", 0.1))
        writer.add(Row(GROUP, 0, [5.0, 52.0, 50.0, 20.0]))
        writer.flush()
        live = Live(tmp_path / "log.sqlite", boat(), clock=lambda: now[0])
        for step in range(1, 61):
            now[0] = 10.0 * step
            for second in range(round(10 * pace)):
                at_us = round((10 * pace * (step - 1) + second + 1) * 1e6)
                writer.add(Row(GROUP, at_us, [5.0, 52.0, 50.0, 20.0]))
            writer.flush()
            assert live.tick() == []
        events = []
        for _ in range(20):
            now[0] += 10.0
            events += live.tick()
        writer.add(Row(GROUP, round((600 * pace + 300) * 1e6), [5.0, 52.0, 50.0, 20.0]))
        writer.flush()
        later = live.tick()
        live.close()
        writer.close()
    return events, later


def test_a_recorder_that_stops_is_one_flag_that_clears_when_it_is_back(tmp_path):
    (event,), later = growing(tmp_path, 1.0)
    assert (event.action, event.flag.kind, event.flag.subject) == (
        "raised",
        "quiet",
        "the recorder",
    )
    assert [(e.action, e.flag.subject) for e in later] == [("cleared", "the recorder")]


def test_a_boot_that_is_dated_late_does_not_hide_a_standstill():
    growth = Growth()
    for second in range(0, 400, 10):
        growth.see(float(second), second * 1_000_000)
    dated = 1_700_000_000_000_000
    for second in range(400, 800, 10):  # the first fix has come
        growth.see(float(second), dated + second * 1_000_000)
    assert not growth.stands_still(830.0)
    assert growth.stands_still(870.0)


def test_the_end_of_a_replay_is_no_cause(tmp_path):
    assert growing(tmp_path, 6.0) == ([], [])


def test_what_somebody_has_seen_is_said_as_seen_and_becoming_worse_is_to_be_seen_anew(tmp_path):
    path = tmp_path / "log.sqlite"
    with (
        Store.open(path, write=True) as store,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener,
    ):
        listener.bind(("127.0.0.1", 0))
        listener.settimeout(5)
        writer = store.writer("boot")
        live = Live(path, boat(tell=(Tell(kind="udp", port=listener.getsockname()[1]),)))

        def go_on(first: int, last: int, motor_c: float) -> None:
            for second in range(first, last):
                writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, motor_c, 20.0]))
                if second % 10 == 0:
                    writer.flush()
                    live.tick()

        go_on(1, 100, 50.0)
        go_on(100, 200, 115.0)
        (flag,) = store.flags()
        assert flag.level == "warning"
        store.update_flag(flag.number, seen_us=150_000_000)
        go_on(200, 300, 115.0)
        alerts = []
        listener.setblocking(False)
        try:
            while True:
                line = listener.recv(200).decode()
                alerts += [fields(line)] if "ALR" in line else []
        except BlockingIOError:
            pass
        assert alerts[0][4] == "V"  # not yet acknowledged
        assert alerts[-1][4] == "A"
        assert {a[2] for a in alerts} == {f"{flag.number:03d}"}
        go_on(300, 400, 130.0)
        (flag,) = store.flags()
        assert flag.level == "act now"
        assert flag.seen_us is None
        live.close()
        writer.close()


def test_a_plotter_on_tcp_gets_figures_and_alerts_that_another_library_reads(tmp_path):
    """What a display on board does: it connects, reads lines, checks and takes them apart."""
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, 1_700_000_000_000_000, "gnss", 0.1))
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        live = Live(
            path,
            boat(tell=(Tell(kind="tcp", host="127.0.0.1", port=port),)),
            reach=lambda: (18520.0, 12964.0),
        )
        with socket.create_connection(("127.0.0.1", port), 5) as display:
            display.settimeout(5)
            for second in range(1, 120):
                hot = 130.0 if second >= 60 else 50.0
                writer.add(Row(GROUP, second * 1_000_000, [5.0, 52.0, hot, 20.0]))
                writer.flush()
                live.tick()
            live.close()
            got = b"".join(iter(lambda: display.recv(4096), b""))
        writer.close()
    lines = got.decode("ascii").split("\r\n")
    assert lines.pop() == ""
    assert all(len(line) + 2 <= 82 for line in lines)
    figures = {}
    for line in (ln for ln in lines if "XDR" in ln):
        sentence = pynmea2.parse(line, check=True)
        for k in range(0, len(sentence.data), 4):
            figures[sentence.data[k + 3]] = float(sentence.data[k + 1])
    assert figures["RANGE_NMI"] == 10.0  # 18 520 m
    assert figures["RANGE_LOW_NMI"] == 7.0
    assert figures["POWER_W"] == 260.0  # 52 V, 5 A
    assert figures["MOTOR"] == 130.0
    alerts = [fields(line) for line in lines if "ALR" in line]
    assert alerts[0][3:5] == ["A", "V"]
    assert "motor" in alerts[0][5]
