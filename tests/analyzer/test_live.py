"""The live watch on a log that grows while it looks."""

import socket
import threading
import time

from analyzer.live import Live, start
from logger.boat import Boat, Cable, Hull, Motor, Pack, Tell
from logger.sources.source import Group, Quantum, Row, UtcFix
from logger.store import Store

NAMES = ("pack_current_a", "pack_voltage_v", "motor_temp_c", "pack_temp_c")
GROUP = Group("test/all", NAMES, tuple(Quantum() for _ in NAMES))


def boat(**more) -> Boat:
    return Boat(
        name="invented",
        hull=Hull(waterline_m=7, beam_waterline_m=2.3, draught_m=1.2, displacement_kg=3000),
        pack=Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200),
        motor=Motor(rated_power_w=6000, motor_max_temp_c=120),
        cable=(Cable(name="positive", size_mm2=50, length_m=2, probe="positive"),),
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
    from analyzer import watch

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
        watch.run(store, boat())
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
        end = start(Live(path, boat()))
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
