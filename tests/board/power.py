"""Power on, power cut, wrong clock, a plug pulled."""

import itertools
import math
import random
import time
import urllib.request
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.error import URLError

from bench import PAGE, Bench
from machine import BoardError, Machine, switched_on

BLOCKS = 256
# Blocks that are on the card for good are overwritten past the kernel's memory at one go, and not
# flushed. The number of the write is in each of them.
UNFLUSHED = f"""
import mmap, os, sys
number = int(sys.argv[1])
file = os.open("/var/lib/unflushed", os.O_RDWR | os.O_CREAT | os.O_DIRECT)
content = mmap.mmap(-1, 4096 * {BLOCKS})
content.write(bytes([number]) * len(content))
os.pwrite(file, content, 0)
if number == 1:
    os.fsync(file)
    os.sync()
"""
RECORDING_S, PAGE_S = 20.0, 40.0  # at most, on a real processor
LOST_S = 1.0


def page_answers() -> bool:
    """Whether the board's page answers a phone (it asks for the code)."""
    with suppress(URLError, TimeoutError, OSError):
        urllib.request.urlopen(PAGE, timeout=5).read()
        return True
    return False


def cold_boot(bench: Bench) -> None:
    """From power to the first reading in the log, and to the page on a phone."""
    card = bench.card("cold_boot")
    recording, ready, page = [], [], []
    for _ in range(3):
        machine = bench.machine(card, net="boat")
        machine.switch_on()
        gps = bench.gps(machine)
        bench.until("the page", page_answers, bench.boot_s + 60, 0.2)
        page.append(time.monotonic() - machine.on_s)
        machine.wait(bench.boot_s)
        bench.wait_for_both(machine)
        began_s = _clock_began_s(machine)
        boot = bench.look(machine)["boots"][-1]
        recording.append(began_s + boot["first_us"] / 1e6)
        show = "systemctl show --value --property ActiveEnterTimestampMonotonic keelwatt-record"
        ready.append(began_s + int(machine.must(show)) / 1e6)
        bench.say("processes", machine.must("systemd-analyze | head -1").strip())
        machine.switch_off()
        gps.close()
    judged = bench.accel == "kvm"
    for what, times, limit in (
        ("to the recorder ready", ready, RECORDING_S),
        ("to the first reading in the log", recording, RECORDING_S),
        ("to the page on a phone", page, PAGE_S),
    ):
        figure = f"{', '.join(f'{t:.1f}' for t in times)} s (limit {limit:.0f} s with KVM)"
        bench.say(what, figure, max(times) <= limit if judged or max(times) <= limit else None)


def _clock_began_s(machine: Machine) -> float:
    """Seconds after switching on at which the board's own clock was 0."""
    before_s = time.monotonic()
    up_s = float(machine.must("cut -d' ' -f1 /proc/uptime"))
    return (before_s + time.monotonic()) / 2 - up_s - machine.on_s


@dataclass
class _Cuts:
    """What came of the cuts so far."""

    lost_s: list[float] = field(default_factory=list)
    still_s: list[float] = field(default_factory=list)  # of it, the board's processors stood still
    page_back: int = 0
    aimed: int = 0
    held: int = 0
    forgotten: int = 0
    recovered: int = 0
    failures: list[str] = field(default_factory=list)


def cuts(bench: Bench) -> None:
    """Kills the emulator while the board records, again and again on one card."""
    card = bench.card(bench.scenario)
    found = _Cuts()
    try:
        _cut_often(bench, card, found)
    finally:
        lost = found.lost_s
        bench.say("power cuts", f"{len(lost)} on one card", len(lost) == bench.cuts)
        bench.say(
            "mounts, log whole (integrity_check), both services back by themselves",
            "; ".join(found.failures) or f"each time; pages answering after {found.page_back}",
            bool(lost) and not found.failures,
        )
        bench.say("file system put right by its journal", f"{found.recovered} times")
        bench.say(
            "blocks not flushed at the cut",
            f"{found.held} in all, {found.forgotten} forgotten; {found.aimed} cuts were made at a "
            "moment at which the card held some",
        )
        if lost:
            own = [lost_s - still_s for lost_s, still_s in zip(lost, found.still_s, strict=True)]
            what = f"age at the cut of the oldest reading lost (at most {LOST_S:.0f} s)"
            bench.say(what, _spread(lost), max(lost) <= LOST_S)
            # Not judged: the recorder's own waiting goes by the clock, which goes on meanwhile.
            bench.say(
                "the same without the time in which the emulator was kept from running",
                _spread(own),
            )


def _oldest_lost_s(board: Machine, kept_s: float) -> float:
    """How old the oldest reading that is not in the log was at the cut; 0: nothing was lost. [s]

    The bus carries the most readings; all sources' are committed together.

    Args:
        kept_s: Where the log ends, by the board's own clock.
    """
    first_s = next((t for t in board.frames_s if t > kept_s), board.last_beat_s)
    return board.last_beat_s - first_s


def _spread(lost_s: list[float]) -> str:
    late = sum(s > LOST_S for s in lost_s)
    middle = sorted(lost_s)[len(lost_s) // 2]
    return f"most {max(lost_s):.2f} s, middle {middle:.2f} s; {late} of {len(lost_s)} more than 1 s"


def forgets(bench: Bench) -> None:
    """Shows that the card does forget at a cut what was not flushed: the cuts are built on it."""
    card = bench.card("forgets")
    machine = bench.machine(card, seed=1)
    machine.switch_on()
    try:
        machine.wait(bench.boot_s)
        cache = machine.must("cat /sys/block/vda/queue/write_cache").strip()
        bench.say("what the board knows of the card's own memory", cache, cache == "write back")
        machine.must("cat >/run/unflushed.py", typed=UNFLUSHED)
        machine.must("python3 /run/unflushed.py 1", timeout_s=bench.boot_s)
        machine.aim(BLOCKS * 3 // 4)
        with suppress(BoardError):
            machine.run("python3 /run/unflushed.py 2", timeout_s=bench.boot_s)
        held, forgotten = machine.cut(aimed_s=5.0)
    finally:
        machine.kill()
    machine = bench.machine(card)
    with switched_on(machine, bench.boot_s):
        count = "import sys; print(*open('/var/lib/unflushed', 'rb').read()[::4096])"
        found = machine.must(f'python3 -c "{count}"').split()
    bench.say(
        f"{BLOCKS} blocks overwritten without a flush, and a cut",
        f"{held} were held, {forgotten} forgotten; {found.count('1')} are as they were before",
        0 < found.count("1") < BLOCKS,
    )


def _cut_often(bench: Bench, card: Path, found: _Cuts) -> None:
    chance = random.Random(bench.scenario)
    before: Machine | None = None  # as it was cut off
    for number in range(bench.cuts + 1):
        machine = bench.machine(card, seed=number)
        machine.switch_on()
        gps = bench.gps(machine)
        try:
            machine.wait(bench.boot_s)
            log = bench.whole(machine)
            _both_back(bench, machine, number, found)
            if log["integrity"] != "ok":
                found.failures.append(f"cut {number}: integrity_check says {log['integrity']}")
            found.recovered += _mounted_whole(machine, number, found.failures)
            if before is not None:
                lost_s = _oldest_lost_s(before, _last_before(machine, log) / 1e6)
                still_s = before.waited_s(lost_s)
                found.lost_s.append(lost_s)
                found.still_s.append(still_s)
                print(f"    cut {number}: {lost_s:.2f} s lost, {still_s:.2f} kept off", flush=True)
            if not log["records"]:
                raise BoardError("no readings of this boot")
            if number == bench.cuts:
                machine.switch_off()
                return
            time.sleep(chance.uniform(0.0, 15.0))
            if number % 3 == 2:  # else a cut would hardly ever fall between a write and its flush
                machine.aim(chance.randint(1, 3))
                held, forgotten = machine.cut(aimed_s=20.0)
            else:
                held, forgotten = machine.cut()
            before = machine
            found.aimed += held > 0
            found.held, found.forgotten = found.held + held, found.forgotten + forgotten
        except BoardError as error:
            found.failures.append(f"after cut {number}: {error}")
            return
        finally:
            gps.close()
            machine.kill()


def _both_back(bench: Bench, machine: Machine, number: int, found: _Cuts) -> None:
    """Both run, and neither fell; every fifth time also until the pages' port is open, which takes
    an emulated processor longest."""
    if number % 5 == 4:
        bench.wait_for_both(machine)
        found.page_back += 1
    up = "systemctl is-active -q keelwatt-record && systemctl is-active -q keelwatt-serve"
    machine.run(f"for n in $(seq 100); do {up} && break; sleep 2; done", timeout_s=bench.boot_s * 2)
    asked = "systemctl show -p ActiveState -p NRestarts keelwatt-record keelwatt-serve"
    said = machine.must(asked).split()
    if said.count("ActiveState=active") != 2 or said.count("NRestarts=0") != 2:
        found.failures.append(f"after cut {number}: {' '.join(said)}")


def _last_before(machine: Machine, log: dict[str, Any]) -> int:
    """Where the boot that was cut ends in the log. [µs of its own clock]"""
    uid = machine.must("cat /proc/sys/kernel/random/boot_id").strip()
    ended: list[int] = [b["last_us"] for b in log["boots"] if b["uid"] != uid]
    return ended[-1]


def _mounted_whole(machine: Machine, number: int, failures: list[str]) -> int:
    """Looks at what the kernel says of the card; 1 where the journal was played."""
    said = machine.run("journalctl -b -k --no-pager | grep -i ext4").out
    if "error" in said.lower() or machine.run("test -w / && touch /var/lib/written").code:
        failures.append(f"cut {number}: {said[-200:]}")
    return int("recovery complete" in said)


def wrong_clock(bench: Bench) -> None:
    """The board wakes in a wrong year; the receiver finds the date after 90 s of recording.

    The year is one to come: a clock that is behind, Debian puts to when it was last seen.
    """
    card = bench.card("wrong_clock")
    machine = bench.machine(card, clock="2031-03-03T03:03:03")
    on_utc_s = time.time()
    with switched_on(machine, bench.boot_s) as board:
        gps = bench.gps(board, fix_after_s=math.inf)
        start_s = time.monotonic()
        bench.whole(board)
        year = board.must("date -u +%Y").strip()
        before = bench.look(board)["boots"][-1]
        figure = f"the board's year {year}, this boot dated: {before['dated'] or 'no'}"
        bench.say("before the fix", figure, year == "2031" and not before["dated"])
        time.sleep(max(90.0 - (time.monotonic() - start_s), 0.0))
        gps.fix_after_s = 0.0
        dated_s = bench.until(
            "a date", lambda: bench.look(board)["boots"][-1]["dated"], bench.boot_s
        )
        bench.say("dated after the fix", f"within {dated_s:.0f} s")
        after = bench.look(board)
        began_s = on_utc_s + _clock_began_s(board)
        gps.close()
    boots = after["boots"]
    undated = [b for b in boots if not b["dated"]]
    bench.say("after the fix", f"{len(boots)} boots, {len(undated)} undated", not undated)
    off_s = boots[-1]["timeline_offset_us"] / 1e6 - began_s
    figure = f"{off_s:+.2f} s from this machine's clock"
    bench.say("the whole boot's date, back to its beginning", figure, abs(off_s) < 2)
    ends = [
        (b["first_us"] + b["timeline_offset_us"], b["last_us"] + b["timeline_offset_us"])
        for b in boots
        if b["first_us"] is not None
    ]
    in_order = all(a[1] < b[0] for a, b in itertools.pairwise(ends))
    bench.say("boots in order, none over another", f"{len(ends)} boots", in_order)


def plugs(bench: Bench) -> None:
    """The receiver's plug is pulled out and put in again, twice."""
    with switched_on(bench.machine(bench.card("plugs")), bench.boot_s) as board:
        gps = bench.gps(board)
        bench.wait_for_both(board)
        counts = [_gps_count(bench, board)]
        opening, sent = gps.heard_bytes, 0
        for number in (1, 2):
            sent += gps.heard_bytes - opening - sent
            board.tell("device_del", id="gpsplug")
            time.sleep(10)
            gone = board.run("test -e /dev/keelwatt/gps").code != 0
            board.tell(
                "device_add", driver="usb-serial", id="gpsplug", chardev="gps", serial="A5069RR4"
            )
            back_s = bench.until(
                "the name", lambda: board.run("test -e /dev/keelwatt/gps").code == 0, bench.boot_s
            )
            time.sleep(20 + 5 * bench.slow)
            opening = gps.heard_bytes - sent
            counts.append(_gps_count(bench, board))
            bench.say(
                f"plug {number}",
                f"gone: {gone}, named again after {back_s:.0f} s, "
                f"{counts[-1] - counts[-2]} more readings",
                gone and counts[-1] > counts[-2],
            )
        pid = board.must("systemctl show --value --property NRestarts keelwatt-record").strip()
        bench.say("recorder restarted meanwhile", pid, pid == "0")
        tell_heard(bench, opening, gps.heard_bytes - opening)
        gps.close()


def tell_heard(bench: Bench, opening: int, sent: int) -> None:
    """What the board sent to the receiver: a listener sends nothing.

    Linux opens every serial line with its echo on, until the opener has switched it off: on a real
    board for some ten-thousandths of a second, here for long.
    """
    bench.say("bytes the board sent to the GPS once its port was set", sent, sent == 0)
    bench.say("bytes echoed by the kernel while the port was being opened", opening)


def _gps_count(bench: Bench, board: Machine) -> int:
    return int((bench.look(board, "latitude_deg")["channels"].get("latitude_deg") or [0])[0])
