"""The whole recorder, live, while things go wrong around it.

KEELWATT_FULL=1 sends garbage for five minutes, else for two seconds.
"""

import contextlib
import errno
import os
import random
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pytest

from logger.boat.starter import starter_text
from logger.daemon import feed as feeding
from logger.daemon import recorder, systemd
from logger.errors import StoreError
from logger.reading import UtcFix
from logger.sources import raw_copy
from logger.sources.frame_readers import SocketCanReader
from logger.store import FlagRecord, Store, due
from tests.support.running import EVER, Running, free_port, gps, send_udp, sentence
from tests.support.small_disk import mounted

GARBAGE_S = 300.0 if os.environ.get("KEELWATT_FULL") else 2.0
RATE = 8600  # frames a second: a full bus of 1 Mbit/s
FRAME = struct.Struct("=IB3x8s")  # struct can_frame in <linux/can.h>
Start = Callable[..., "Listening"]


class Listening(Running):
    """A recorder of an NMEA 0183 source; `send` puts a line to its UDP port."""

    def __init__(self, folder: Path, *sources: dict[str, Any], uid: str = "boot") -> None:
        self.port = free_port()
        self.told: list[str] = []
        telling = systemd.Service("")
        telling.status = self.told.append  # type: ignore[method-assign]
        super().__init__(folder, gps(udp=self.port, raw=True), *sources, service=telling, uid=uid)
        self.wait_until_up()

    def send(self, data: bytes) -> None:
        send_udp(self.port, data)

    def water(self, degrees: float) -> None:
        """A reading of the water's temperature, waited for until it is in the log."""
        self.send(sentence(f"IIMTW,{degrees:.1f},C"))
        self.wait_for(lambda: degrees in self.values("water_temp_c"))


@pytest.fixture
def start() -> Iterator[Start]:
    started: list[Listening] = []

    def begin(folder: Path, *sources: dict[str, Any], uid: str = "boot") -> Listening:
        started.append(Listening(folder, *sources, uid=uid))
        return started[-1]

    yield begin
    for one in started:
        one.close()


# -- the disk is full ---------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    with mounted(tmp_path / "disk", 3, lazily=True) as folder:
        yield folder


def fill(path: Path) -> None:
    with path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(4096)):
            pass


def test_a_full_disk_stops_recording_says_so_and_goes_on(
    small_disk: Path, start: Start, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(due, "TRY_AGAIN_S", 0.3)
    monkeypatch.setattr(raw_copy, "AGAIN_S", 0.3)
    monkeypatch.setattr(raw_copy, "PIECE", 2000)
    run = start(small_disk)
    run.water(10.0)
    fill(small_disk / "stuff")
    sent = [10.0]
    while "the disk is full; recording waits" not in run.told:
        sent.append(20 + len(sent) % 100 / 10)
        run.send(sentence(f"IIMTW,{sent[-1]:.1f},C"))
        time.sleep(0.005)
        assert run.error is None
        assert len(sent) < 20_000
    counters = run.recorder.feeds[0].counters
    while not counters["raw_lost"]:  # the raw copy waits too, and holds up nothing
        sent.append(20 + len(sent) % 100 / 10)
        run.send(sentence(f"IIMTW,{sent[-1]:.1f},C"))
        time.sleep(0.002)
        assert len(sent) < 40_000
    assert run.recorder.feeds[0].up
    assert run.store.flags() == []
    (small_disk / "stuff").unlink()
    run.wait_for(lambda: bool(run.store.flags()))
    run.water(30.0)
    (flag,) = run.store.flags()
    assert flag.kind == "disk_full"
    assert flag.cleared_us is not None
    assert flag.cleared_us > flag.raised_us
    assert run.values("water_temp_c") == [*sent, 30.0]  # memory held those of the meantime
    assert counters["reconnects"] == counters["internal"] == 0
    assert run.store._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


BOAT = """
name = "Test boat"
hull = {{ waterline_m = 7.0, beam_waterline_m = 2.2, draught_m = 1.2, displacement_kg = 3000.0 }}
pack = {{ chemistry = "lfp", cells_in_series = 16, rated_capacity_ah = 100.0 }}
motor = {{ rated_power_w = 5000.0 }}
[[source]]
name = "gps"
kind = "nmea0183"
options = {{ udp = {port}, raw = true }}
"""


@pytest.mark.parametrize("with_raw", [True, False])
def test_a_disk_full_at_the_start_is_said_and_recording_begins_when_there_is_room(
    small_disk: Path, tmp_path: Path, with_raw: bool
):
    port = free_port()
    boat = tmp_path / "boat.toml"
    boat.write_text(BOAT.format(port=port))
    raw = small_disk / "raw"
    raw.mkdir()
    if with_raw:
        for n in range(1, 5):
            (raw / f"gps-{n:04d}.log").write_bytes(bytes(500_000))
    fill(small_disk / "stuff")
    log = small_disk / "boat.sqlite"
    program = [sys.executable, "-c", RECORD, str(boat), str(log)]
    with subprocess.Popen(program, stderr=subprocess.PIPE, text=True) as recorder:
        try:
            assert recorder.stderr
            said = recorder.stderr.readline()
            assert "the disk is full" in said
            if with_raw:
                assert "the oldest raw copies are removed" in said
            else:
                assert "recording waits" in said
                (small_disk / "stuff").unlink()
            until = time.monotonic() + 30
            while not flags_of(log):
                assert recorder.poll() is None
                assert time.monotonic() < until
                time.sleep(0.1)
        finally:
            recorder.terminate()
    (flag,) = flags_of(log)
    assert flag.kind == "disk_full"
    assert "nothing was recorded" in flag.evidence
    assert not with_raw or (raw / "gps-0004.log").exists()  # the newest of a source stays


def flags_of(log: Path) -> list[FlagRecord]:
    if not log.is_file() or not log.stat().st_size:
        return []
    try:
        with Store.open(log) as store:
            return store.flags()
    except StoreError:
        return []


# -- the wall clock jumps -----------------------------------------------------------------------


def test_a_wall_clock_that_jumps_ten_years_back_disturbs_nothing(
    tmp_path: Path, start: Start, monkeypatch: pytest.MonkeyPatch
):
    shift_s = [0.0]
    true_time, true_ns = time.time, time.time_ns
    monkeypatch.setattr(time, "time", lambda: true_time() + shift_s[0])
    monkeypatch.setattr(time, "time_ns", lambda: true_ns() + int(shift_s[0] * 1e9))
    monkeypatch.setattr(recorder, "NTP_S", 0.1)
    monkeypatch.setattr(recorder, "HEALTH_S", 0.1)
    monkeypatch.setattr(
        recorder, "ntp_fix",
        lambda: UtcFix(recorder.mono_us(), time.time_ns() // 1000, "ntp", 0.01),
    )  # fmt: skip
    run = start(tmp_path)
    run.water(10.0)
    run.wait_for(lambda: run.store.boots()[0].utc_source == "ntp")
    dated = run.store.boots()[0].utc_offset_us
    shift_s[0] = -3652.0 * 86400
    run.water(11.0)
    time.sleep(0.5)
    run.water(12.0)
    shift_s[0] = 3652.0 * 86400
    time.sleep(0.3)
    run.water(13.0)
    run.close()
    with Store.open(tmp_path / "boat.log") as store:
        assert store.boots()[0].utc_offset_us == dated
        t_us, values = store.read("water_temp_c", *EVER)
    assert values.tolist() == [10.0, 11.0, 12.0, 13.0]
    assert np.all(np.diff(t_us) > 0)
    assert abs(t_us[-1] / 1e6 - true_time()) < 60
    shift_s[0] = -3652.0 * 86400  # the next boot begins ten years back, and finds no time server
    monkeypatch.setattr(recorder, "ntp_fix", lambda: None)
    run = start(tmp_path, uid="next")
    run.water(20.0)
    assert run.values("water_temp_c") == [10.0, 11.0, 12.0, 13.0, 20.0]


# -- the bus ------------------------------------------------------------------------------------


class Interface:
    """A CAN socket that can go down: then every call fails as the kernel's does."""

    def __init__(self) -> None:
        self.ours, self.theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.down = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self.ours, name)

    def _check(self) -> None:
        if self.down:
            raise OSError(errno.ENETDOWN, os.strerror(errno.ENETDOWN))

    def recvmsg(self, *sizes: int) -> Any:
        self._check()
        return self.ours.recvmsg(*sizes)

    def recv(self, size: int) -> bytes:
        self._check()
        return self.ours.recv(size)

    def send(self, can_id: int, data: bytes) -> None:
        self.theirs.send(FRAME.pack(can_id, len(data), data))


BUS = {"name": "can0", "kind": "can", "options": {"channel": "can0"}}
# Reference values 4.3: 127508 from 0x21: 51.20 V.
BATTERY = (0x19F21421 | 1 << 31, bytes.fromhex("000014ABFC777407"))


def test_a_bus_that_goes_off_and_down_is_counted_and_opened_again(
    tmp_path: Path, start: Start, monkeypatch: pytest.MonkeyPatch
):
    opened: list[Interface] = []

    def open_bus(_: str) -> Interface:
        opened.append(Interface())
        return opened[-1]

    monkeypatch.setattr(SocketCanReader, "_open", staticmethod(open_bus))
    monkeypatch.setattr(feeding, "FIRST_WAIT_S", 0.05)
    run = start(tmp_path, BUS)
    feed = run.recorder.feeds[1]
    run.wait_for(lambda: feed.up)
    opened[0].send(*BATTERY)
    run.wait_for(lambda: run.values("pack_voltage_v") == [51.2])
    opened[0].send(0x040 | 1 << 29, bytes(8))  # CAN_ERR_FLAG | CAN_ERR_BUSOFF, linux/can/error.h
    run.wait_for(lambda: feed.counters["bus_off"] == 1)
    opened[0].down = True
    opened[0].theirs.send(b"x")  # select wakes up, as it does for an interface that went down
    run.wait_for(lambda: len(opened) == 2 and feed.up)
    assert feed.counters["reconnects"] == 1
    opened[1].send(*BATTERY)
    run.wait_for(lambda: run.values("pack_voltage_v") == [51.2, 51.2])
    run.water(12.0)  # the other source never noticed
    for interface in opened:
        interface.theirs.close()


# -- garbage ------------------------------------------------------------------------------------


def test_garbage_at_full_rate_on_a_bus_and_a_line_at_once(
    tmp_path: Path, start: Start, monkeypatch: pytest.MonkeyPatch
):
    bus = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    bus.bind(("127.0.0.1", 0))
    monkeypatch.setattr(SocketCanReader, "_open", staticmethod(lambda _: bus))
    run = start(tmp_path, BUS)
    noise, process, sizes = random.Random(3), psutil.Process(), []
    known = [0x19F21400, 0x15FD0C00, 0x09F80100, 0x19F21200, 0x18EAFF00, 0x0CF00400]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.connect(bus.getsockname())
        begun, sent = time.monotonic(), 0
        while (gone := time.monotonic() - begun) < GARBAGE_S:
            while sent < gone * RATE:
                some = noise.random() < 0.3
                can_id = noise.choice(known) | noise.randrange(4) if some else noise.getrandbits(29)
                flags = noise.choice([1 << 31, 1 << 31, 1 << 31, 0, 1 << 30, 1 << 29])
                sender.send(FRAME.pack(can_id | flags, noise.randrange(9), noise.randbytes(8)))
                sent += 1
            run.send(noise.randbytes(96))  # 38,400 baud at 20 ms each
            sizes.append(process.memory_info().rss)
            time.sleep(0.02)
    run.send(b"\r\n")
    run.water(15.5)
    counts = [feed.counters.as_dict() for feed in run.recorder.feeds]
    third = len(sizes) // 3
    grown = max(sizes[-third:]) - max(sizes[third : 2 * third])
    print(
        f"\n{GARBAGE_S:.0f} s of garbage, {sent} frames: memory {sizes[third] / 1e6:.1f} MB after a"
        f" third, {sizes[-1] / 1e6:.1f} at the end; {counts[1]}; {counts[0]}"
    )
    # Each line but the last is refused and counted; each datagram is a line at the least. How many
    # there are in so many seconds is up to the machine.
    refused = counts[0].get("syntax", 0) + counts[0].get("checksum", 0)
    assert refused == counts[0]["frames"] - 1
    assert refused > 0.9 * len(sizes)
    assert counts[1]["unknown_id"] > sent / 17
    assert counts[1]["error_frame"] > sent / 170
    assert "internal" not in counts[0] | counts[1]
    assert grown < 8_000_000


# -- the process is killed ----------------------------------------------------------------------

KILLS = 40 if os.environ.get("KEELWATT_FULL") else 2
APART_S = 0.02
RECORD = "import sys; from logger.daemon.main import run; sys.exit(run(*sys.argv[1:]))"


def kill_one(boat_file: Path, log: Path, port: int, after_s: float) -> tuple[list[float], float]:
    """Sends a number each 20 ms until the recorder is killed.

    Returns:
        When each was sent, and the longest that this process itself was kept waiting. [s]
    """
    process = subprocess.Popen(
        [sys.executable, "-c", RECORD, str(boat_file), str(log)],
        cwd=Path(__file__).resolve().parents[2],
        stderr=subprocess.DEVNULL,
    )
    sent, late_s, seen_s = [], 0.0, None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        while seen_s is None or time.monotonic() < seen_s + after_s:
            assert process.poll() is None
            sock.sendto(sentence(f"IIMTW,{len(sent) % 300 / 10:.1f},C"), ("127.0.0.1", port))
            sent.append(time.monotonic())
            late_s = max(late_s, sent[-1] - sent[-2] - APART_S) if len(sent) > 1 else 0.0
            if seen_s is None and log.exists() and len(sent) % 10 == 0:
                with contextlib.suppress(StoreError), Store.open(log) as store:
                    seen_s = time.monotonic() if store.last("water_temp_c") else None
            time.sleep(APART_S)
        process.kill()
        killed_s = time.monotonic()
        process.wait()
    return [killed_s - s for s in sent], late_s


def test_a_killed_recorder_has_lost_nothing_older_than_a_second(tmp_path: Path):
    """From the wire to the card, with the usual flush_s of 1: what counts at a power cut."""
    port, rng, worst_s = free_port(), random.Random(5), 0.0
    boat_file = tmp_path / "boat.toml"
    text = f'[[source]]\nname = "gps"\nkind = "nmea0183"\noptions = {{udp = {port}}}\n'
    boat_file.write_text(starter_text() + text)
    for kill in range(KILLS):
        log = tmp_path / f"{kill}.log"
        ages_s, late_s = kill_one(boat_file, log, port, rng.uniform(1.0, 3.0))
        with Store.open(log) as store:
            kept = [round(float(v) * 10) for v in store.read("water_temp_c", *EVER)[1]]
        assert len(kept) > 10
        first = (len(ages_s) - kept[-1]) % 300  # the last number kept, counted from the end
        assert kept == [(kept[0] + k) % 300 for k in range(len(kept))]
        lost_s = max(ages_s[len(ages_s) - first + 1 :], default=0.0)
        worst_s = max(worst_s, lost_s)
        assert lost_s <= 1.0 + 5 * late_s, (kill, lost_s, late_s)
    print(f"\n{KILLS} kills of the recorder: nothing older than {worst_s:.2f} s was lost")
