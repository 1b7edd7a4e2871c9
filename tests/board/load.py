"""A busy bus, and a full card."""

import json
import struct
import time
from pathlib import Path

import boat
import image
from bench import LOG, PYTHON, Bench
from machine import Machine, switched_on

BUS_BITS, SHARE = 500_000, 0.8
# An 11-bit frame with 8 bytes: 111 bits with the gap (ISO 11898-1), a tenth more for stuffed bits
# (common practice, no source).
FRAME_BITS = 111 * 1.1
FULL_RATE = ("Load0", "Load1")


def _stick(bench: Bench, count: int) -> Path:
    """Frames 0x100 to 0x109 in turn, each with a running number, and the boat file for them."""
    folder = bench.work / "load"
    folder.mkdir(exist_ok=True)
    (folder / "load.dbc").write_text(boat.LOAD_DBC)
    (folder / "load-boat.toml").write_text(boat.load_boat_file())
    form = struct.Struct("=IB3xIHH")  # struct can_frame, <linux/can.h>
    with (folder / "load.frames").open("wb") as out:
        for n in range(count):
            out.write(form.pack(0x100 + n % 10, 8, n, n & 0xFFFF, (n * 7) & 0xFFFF))
    stick = bench.work / "load.img"
    image.make_stick(folder, stick)
    return stick


def bus_load(bench: Bench) -> None:
    """Both services, a bus at 80 %, all frames counted."""
    rate = BUS_BITS * SHARE / FRAME_BITS
    stick = _stick(bench, int(rate * bench.load_s))
    machine = bench.machine(bench.card("bus_load"), stick=stick)
    with switched_on(machine, bench.boot_s) as board:
        board.must("modprobe -a usb_storage uas vfat; sleep 2; mkdir -p /media/stick")
        board.must("mount -o ro /dev/sda /media/stick")
        board.must(
            "systemctl stop board-bus keelwatt-record; cp /media/stick/load.dbc "
            "/var/lib/keelwatt/; cp /media/stick/load-boat.toml /var/lib/keelwatt/boat.toml; "
            "cp /media/stick/load.frames /dev/shm/",
            timeout_s=60 * bench.slow,
        )
        board.must(
            f"rm -f {LOG}*; systemctl start keelwatt-record; "
            "systemctl restart keelwatt-serve; umount /media/stick",
            timeout_s=60 * bench.slow,
        )
        gps = bench.gps(board)
        bench.wait_for_both(board)
        time.sleep(30)
        before, start_s = _state(board), time.monotonic()
        said = board.must(
            f"python3 /usr/local/lib/bus.py load {boat.BUS} /dev/shm/load.frames {rate:.0f}",
            timeout_s=bench.load_s * 4 + 60,
        )
        after, seconds = _state(board), time.monotonic() - start_s
        sent = json.loads(said)
        time.sleep(65)  # the counters are told once a minute
        _tell_frames(bench, board, sent)
        _tell_costs(bench, before, after, seconds)
        gps.close()


def _tell_frames(bench: Bench, board: Machine, sent: dict[str, float]) -> None:
    names = [f"other_number_{n}_count" for n in range(2)]
    health = [f"health_can0_{what}_count" for what in ("frames", "dropped", "errors")]
    found = bench.look(board, *names, *health, "health_log_dropped_count")["channels"]
    rate = sent["sent"] / sent["seconds"]
    load = rate * FRAME_BITS / BUS_BITS
    bench.say(
        "frames sent",
        f"{sent['sent']} in {sent['seconds']:.0f} s: {rate:.0f} a second, "
        f"{load:.0%} of {BUS_BITS // 1000} kbit/s",
        abs(load - SHARE) < 0.02,
    )
    frames = int((found.get(health[0]) or [0, 0, 0])[2])
    bench.say(
        "frames lost on the way to the recorder", sent["sent"] - frames, frames == sent["sent"]
    )
    for what, name in (
        ("dropped by the kernel", health[1]),
        ("refused", health[2]),
        ("readings not kept", "health_log_dropped_count"),
    ):
        count = int((found.get(name) or [0, 0, 0])[2])
        bench.say(what, count, count == 0)
    kept = [int((found.get(n) or [0])[0]) for n in names]
    due = [-(-(int(sent["sent"]) - n) // 10) for n in range(2)]
    bench.say("frames of two messages kept at full rate", f"{sum(kept)} of {sum(due)}", kept == due)


def _state(board: Machine) -> dict[str, float]:
    """Processor time, memory and bytes written so far."""
    state: dict[str, float] = {"card": board.card_written}
    for name in ("record", "serve"):
        shown = board.must(
            f"systemctl show --property CPUUsageNSec --property MemoryCurrent "
            f"--property MainPID keelwatt-{name}"
        )
        keys = dict(line.split("=") for line in shown.split())
        state[f"{name}_cpu_s"] = int(keys["CPUUsageNSec"]) / 1e9
        kb = board.must(f"grep VmRSS /proc/{keys['MainPID']}/status | tr -dc 0-9")
        state[f"{name}_mb"] = int(kb) / 1024
    state["sectors"] = float(board.must("cut -d' ' -f1- /sys/block/vda/stat").split()[6])
    return state


def _tell_costs(
    bench: Bench, before: dict[str, float], after: dict[str, float], seconds: float
) -> None:
    for name in ("record", "serve"):
        share = (after[f"{name}_cpu_s"] - before[f"{name}_cpu_s"]) / seconds
        bench.say(f"keelwatt-{name}: share of one core", f"{share:.1%}")
        bench.say(
            f"keelwatt-{name}: memory before, after",
            f"{before[f'{name}_mb']:.0f}, {after[f'{name}_mb']:.0f} MB",
        )
    hours = seconds / 3600
    blocks = (after["sectors"] - before["sectors"]) * 512
    bench.say("written to the card, whole system", f"{blocks / hours / 1e6:.0f} MB an hour")


def card_full(bench: Bench) -> None:
    """Somebody fills the card; the recorder waits, says so, and goes on."""
    with switched_on(bench.machine(bench.card("card_full")), bench.boot_s) as board:
        gps = bench.gps(board)
        bench.wait_for_both(board)
        board.must(
            "runuser -u keelwatt -- sh -c 'dd if=/dev/zero of=/var/lib/keelwatt/big bs=1M;"
            " dd if=/dev/zero of=/var/lib/keelwatt/small bs=4k' || true",
            timeout_s=300 * bench.slow,
        )
        left = board.must("df --output=avail -k / | tail -1").strip()
        bench.say("room left", f"{left} kB", int(left) < 64)
        # It goes on as long as the log has room in itself, where joined or older pages were.
        status = "systemctl show --value -p StatusText keelwatt-record"
        full_s = bench.until(
            "the recorder's status says that the disk is full",
            lambda: "the disk is full" in board.must(status),
            240 * bench.slow,
        )
        bench.say("it says so in its status", f"after {full_s:.0f} s: {board.must(status)}", True)
        count = bench.look(board)["readings"]
        bench.say("both services up while the card is full", "", bench.both_run(board))
        answer = board.run("keelwatt range", "skipper", timeout_s=60 * bench.slow)
        bench.say("questions answered meanwhile", f"range: status {answer.code}", answer.code == 0)
        board.must("rm /var/lib/keelwatt/big /var/lib/keelwatt/small")
        back_s = bench.until(
            "readings again",
            lambda: bench.look(board)["readings"] > count + 50,
            60 * bench.slow,
            2.0,
        )
        bench.say("records again after room was made", f"{back_s:.0f} s", True)
        restarts = board.must("systemctl show --value -p NRestarts keelwatt-record").strip()
        bench.say("recorder restarted meanwhile", restarts, restarts == "0")
        flags = board.must(
            f'{PYTHON} -c "import sqlite3; print(*[r[0] for r in sqlite3.connect('
            f"'file:{LOG}?mode=ro', uri=True).execute('SELECT key FROM flag')])\""
        )
        bench.say("flag", flags.strip() or "none", "recorder/disk" in flags)
        bench.say("integrity_check", "", bench.look(board)["integrity"] == "ok")
        gps.close()
