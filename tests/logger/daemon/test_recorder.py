"""The daemon: real ports and sockets in, the log out."""

import os
import pty
import random
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import psutil
import pytest

from logger.boat import Boat
from logger.daemon.recorder import Recorder
from logger.daemon.systemd import Service
from logger.errors import BoatFileError, StoreError
from logger.store import Store
from tests.support.running import (
    EVER,
    Running,
    boat_table,
    free_port,
    gps,
    send_udp,
    sentence,
)


@pytest.fixture
def running(tmp_path: Path):
    started: list[Running] = []

    def start(*sources: dict[str, Any], service: Service | None = None) -> Running:
        started.append(Running(tmp_path, *sources, service=service))
        return started[-1]

    yield start
    for one in started:
        one.close()


def test_udp_lines_are_stored_within_the_flush_time(running):
    port = free_port()
    run = running(gps(udp=port))
    run.wait_until_up()
    send_udp(port, *(sentence(f"IIMTW,{10 + k}.5,C") for k in range(5)))
    run.wait_for(lambda: run.values("water_temp_c") == [10.5, 11.5, 12.5, 13.5, 14.5])


def test_tcp_is_connected_again_after_the_other_side_closed(running):
    port = free_port()
    run = running(gps(tcp=f"127.0.0.1:{port}"))
    run.wait_for(lambda: "nobody answers" in run.recorder.feeds[0].trouble)
    for value in (11.0, 12.0):
        with socket.create_server(("127.0.0.1", port)) as server:
            server.settimeout(10)
            peer, _ = server.accept()
            peer.sendall(sentence(f"IIMTW,{value},C"))
            run.wait_for(lambda value=value: value in run.values("water_temp_c"))
            peer.close()
        run.wait_for(lambda: not run.recorder.feeds[0].up)
    assert run.recorder.feeds[0].counters["reconnects"] >= 2


def test_serial_port_pulled_out_and_put_back(running, tmp_path: Path):
    port = tmp_path / "port"

    def plug() -> int:
        master, slave = pty.openpty()
        port.unlink(missing_ok=True)
        port.symlink_to(os.ttyname(slave))
        os.close(slave)
        return master

    master = plug()
    run = running(gps(port=str(port), baud=4800))
    run.wait_until_up()
    os.write(master, sentence("IIMTW,11.0,C"))
    run.wait_for(lambda: run.values("water_temp_c") == [11.0])
    os.close(master)
    run.wait_for(lambda: not run.recorder.feeds[0].up)
    master = plug()
    run.wait_until_up()
    os.write(master, b"\xff\x00garbage" + sentence("IIMTW,12.0,C"))
    os.write(master, sentence("IIMTW,13.0,C"))
    run.wait_for(lambda: 13.0 in run.values("water_temp_c"))
    os.close(master)


def dated_by(running, date: str):
    """A recorder whose receiver has told noon of a day, and the day's first time in the log."""
    port = free_port()
    run = running(gps(udp=port))
    run.wait_until_up()
    send_udp(port, sentence(f"GPRMC,120000,A,4700.00,N,00800.00,E,1.0,90.0,{date},,"))
    run.wait_for(lambda: run.store.boots()[0].utc_source == "gnss")
    run.wait_for(lambda: "latitude_deg" in run.store.channels())
    return run, run.store.read("latitude_deg", *EVER)[0][0] / 1e6


def test_receiver_dates_the_log(running):
    _, first_s = dated_by(running, "010627")
    assert first_s == pytest.approx(1811851200, abs=0.01)  # 2027-06-01 12:00 UTC


def test_a_receiver_whose_week_number_rolled_over_is_corrected_and_said(
    running, caplog: pytest.LogCaptureFixture
):
    # 1 June 2027 minus 1024 weeks (7168 days) is 16 October 2007.
    run, first_s = dated_by(running, "161007")
    assert first_s == pytest.approx(1811851200, abs=0.5)  # 2027-06-01 12:00 UTC
    assert "1024 weeks behind" in run.store.boots()[0].remark
    assert "1024 weeks behind" in caplog.text


def test_stop_takes_less_than_two_seconds_and_loses_nothing(running):
    port = free_port()
    run = running(gps(udp=port))
    run.wait_until_up()
    send_udp(port, *(sentence(f"IIMTW,{k / 10:.1f},C") for k in range(200)))
    run.wait_for(lambda: run.recorder.feeds[0].counters["frames"] == 200)
    assert run.stop() < 2.0
    assert len(run.values("water_temp_c")) == 200


def test_health_is_stored(running):
    run = running(gps(udp=free_port()))
    run.wait_for(lambda: bool(run.store.channels().get("health_gps_frames_count")))
    run.wait_for(lambda: run.store.last("health_log_disk_left_frac") is not None)
    run.wait_for(lambda: "recorder" in run.store.health())  # told after the rows
    assert "gps" in run.store.health()["recorder"].value


def test_words_about_sources_are_kept_though_no_reading_comes(tmp_path: Path):
    """Words wait for the next commit; those after the rows of health waited for a minute."""
    with (
        Store.open(tmp_path / "boat.log", write=True) as store,
        store.writer("boot", flush_s=0.0) as writer,
    ):
        recorder = Recorder(Boat.model_validate(boat_table(gps(udp=1))), store)
        recorder._tell_health(writer)
        assert "gps" in store.health()["recorder"].value


def test_a_source_that_is_up_is_said_within_seconds(running, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("logger.daemon.recorder.CHANGE_S", 0.2)
    port = free_port()
    run = running(gps(tcp=f"127.0.0.1:{port}"))
    run.wait_for(lambda: "recorder" in run.store.health())
    assert not run.store.health()["recorder"].value["gps"]["up"]
    with socket.create_server(("127.0.0.1", port)) as server:
        server.settimeout(10)
        peer, _ = server.accept()

        def told() -> bool:
            peer.sendall(sentence("IIMTW,15.5,C"))
            return bool(run.store.health()["recorder"].value["gps"]["up"])

        run.wait_for(told)
        peer.close()


def test_full_disk_is_said_and_flagged_when_it_is_over(tmp_path: Path):
    """The writer's own waiting is tested in tests/faults; here, what is said of it."""

    class Waiting:
        full, dropped = True, 7

    told: list[str] = []
    service = Service("")
    service.status = told.append  # type: ignore[method-assign]
    with Store.open(tmp_path / "boat.log", write=True) as store:
        recorder = Recorder(Boat.model_validate(boat_table(gps(udp=1))), store, service)
        writer: Any = Waiting()
        for _ in range(3):
            recorder._watch_disk(writer)
        assert told == ["the disk is full; recording waits"]
        assert store.flags() == []
        writer.full = False
        for _ in range(3):
            recorder._watch_disk(writer)
        (flag,) = store.flags()
    assert (flag.kind, flag.level) == ("disk_full", "warning")
    assert "7 readings" in flag.evidence
    assert flag.cleared_us is not None


def test_garbage_at_full_rate_is_counted_and_leaves_memory_flat(running):
    """A few seconds stand for the five minutes of the bench."""
    port = free_port()
    run = running(gps(udp=port))
    run.wait_until_up()
    noise = random.Random(3)
    process = psutil.Process()
    sizes = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        until = time.monotonic() + 3
        while time.monotonic() < until:
            for _ in range(50):
                sock.sendto(noise.randbytes(700), ("127.0.0.1", port))
            time.sleep(0.01)
            sizes.append(process.memory_info().rss)
        sock.sendto(b"\r\n" + sentence("IIMTW,15.5,C"), ("127.0.0.1", port))
    run.wait_for(lambda: run.values("water_temp_c") == [15.5])
    counts = run.recorder.feeds[0].counters.errors()
    assert counts.get("syntax", 0) + counts.get("checksum", 0) > 100
    assert sizes[-1] - sizes[len(sizes) // 3] < 8_000_000


def test_systemd_is_told(running, tmp_path: Path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "notify"))
        sock.settimeout(10)
        service = Service(str(tmp_path / "notify"), "400000")
        run = running(gps(udp=free_port()), service=service)
        told = [sock.recv(200).decode()]
        while not told[-1].startswith("WATCHDOG"):
            told.append(sock.recv(200).decode())
        run.stop()
        while told[-1] != "STOPPING=1":
            told.append(sock.recv(200).decode())
    assert told[0] == "READY=1"
    assert "WATCHDOG=1" in told


def test_second_recorder_of_a_log_is_refused(running, tmp_path: Path):
    run = running(gps(udp=free_port()))
    run.wait_until_up()
    with Store.open(tmp_path / "boat.log", write=True) as store:
        other = Recorder(Boat.model_validate(boat_table(gps(udp=free_port()))), store)
        with pytest.raises(StoreError, match="another recorder"):
            other.run()


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({}, "wants exactly one of port"),
        ({"udp": 1, "tcp": "x:1"}, "wants exactly one of port"),
        ({"udp": 70000}, "udp: wants a whole number 1 to 65535"),
        ({"tcp": "nowhere"}, 'tcp: wants "host:port"'),
        ({"udp": 4, "speed": 3}, "got 'speed'"),
        ({"udp": 4, "raw": "yes"}, "raw: wants true or false"),
    ],
)
def test_wrong_options_stop_the_daemon_with_a_sentence(
    tmp_path: Path, options: dict[str, object], text: str
):
    boat = Boat.model_validate(boat_table(gps(**options)))
    path = tmp_path / "boat.log"
    with Store.open(path, write=True) as store, pytest.raises(BoatFileError, match=text):
        Recorder(boat, store).run()


def test_unknown_kind_is_named(tmp_path: Path):
    boat = Boat.model_validate(boat_table({"name": "x", "kind": "telepathy", "options": {}}))
    text = r"wants one of can, .*got 'telepathy'"
    path = tmp_path / "boat.log"
    with Store.open(path, write=True) as store, pytest.raises(BoatFileError, match=text):
        Recorder(boat, store)


BOAT_TEXT = (
    'name = "T"\nflush_s = 0.1\n'
    "[hull]\nwaterline_m=7.0\nbeam_waterline_m=2.2\ndraught_m=1.2\ndisplacement_kg=3000.0\n"
    '[pack]\nchemistry="lfp"\ncells_in_series=16\nrated_capacity_ah=100.0\n'
    "[motor]\nrated_power_w=5000.0\n"
    '[[source]]\nname="gps"\nkind="nmea0183"\noptions={udp=PORT, raw=true}\n'
)


def test_a_changed_boat_file_is_used_at_once_and_a_wrong_one_is_not(tmp_path: Path):
    ports = free_port(), free_port()
    path, log = tmp_path / "boat.toml", tmp_path / "boat.log"
    path.write_text(BOAT_TEXT.replace("PORT", str(ports[0])))
    code = "import sys; from logger.daemon.main import run; sys.exit(run(*sys.argv[1:]))"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(str(tmp_path / "notify"))
        systemd.settimeout(60)
        process = subprocess.Popen(
            [sys.executable, "-c", code, str(path), str(log)],
            cwd=Path(__file__).resolve().parents[3],
            env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")},
        )

        def told(wanted: str) -> list[str]:
            """What is said until, and with, `wanted`."""
            said: list[str] = []
            while not said or wanted not in said[-1]:
                said.append(systemd.recv(500).decode())
            return said

        def sends(port: int, value: float) -> None:
            until = time.monotonic() + 30
            while time.monotonic() < until:
                send_udp(port, sentence(f"IIMTW,{value},C"))
                time.sleep(0.1)
                with Store.open(log) as store:
                    last = store.last("water_temp_c")
                if last and last[1] == value:
                    return
            pytest.fail(f"{value} was not recorded")

        try:
            told("READY=1")
            sends(ports[0], 11.5)
            path.write_text("flush_s = 'often'\n")
            assert "boat.toml" in told("changed boat file is not used")[-1]
            sends(ports[0], 12.5)  # recording goes on as before
            path.write_text(BOAT_TEXT.replace("PORT", str(ports[1])))
            assert "STOPPING=1" not in told("READY=1")
            sends(ports[1], 13.5)
            process.send_signal(signal.SIGTERM)
            assert process.wait(10) == 0
        finally:
            process.kill()
            process.wait()
    with Store.open(log) as store:
        assert len(store.boots()) == 1
        assert str(ports[1]) in (store.boat_text() or "")


def test_sigterm_ends_the_process_within_two_seconds(tmp_path: Path):
    port = free_port()
    (tmp_path / "boat.toml").write_text(BOAT_TEXT.replace("PORT", str(port)))
    code = "import sys; from logger.daemon.main import run; sys.exit(run(*sys.argv[1:]))"
    log = tmp_path / "boat.log"
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "boat.toml"), str(log)],
        cwd=Path(__file__).resolve().parents[3],
    )
    try:
        until = time.monotonic() + 30
        while time.monotonic() < until:
            send_udp(port, sentence("IIMTW,17.5,C"))
            time.sleep(0.1)
            if log.exists():
                with Store.open(log) as store:
                    if store.last("water_temp_c"):
                        break
        begun = time.monotonic()
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 0
        assert time.monotonic() - begun < 2.0
    finally:
        process.kill()
        process.wait()
    (raw,) = (tmp_path / "raw").glob("gps-*.log")
    assert " gps $IIMTW,17.5,C*" in raw.read_text()
