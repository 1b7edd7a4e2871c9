"""On the board: the boat's devices on a CAN bus, and a beat to the tests.

    bus.py play BUS FILE FROM_S     a recording in real time, again from FROM_S when it ends
    bus.py load BUS FRAMES FRAMES_PER_S     made frames at a steady rate, then how many, how long

FRAMES holds frames as the kernel has them, made elsewhere: to make them here would cost more than
to send them. FILE holds records of 24 bytes: time [s] float64, identifier uint32, length uint8, 3
empty, data.
Every 50 ms or oftener while playing, the boot's clock goes to the virtio port "beat" as a line:
now, and when each frame since the last line was sent.
"""

import fcntl
import json
import mmap
import os
import socket
import struct
import sys
import time
from pathlib import Path

RECORD = struct.Struct("<dIB3x8s")
FRAME = struct.Struct("=IB3x8s")  # struct can_frame, <linux/can.h>
BEAT = "/dev/virtio-ports/beat"


def open_bus(name: str) -> socket.socket:
    """A raw socket on the bus, which waits where its queue is full."""
    bus = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
    bus.setsockopt(socket.SOL_CAN_RAW, socket.CAN_RAW_LOOPBACK, 1)
    while True:
        try:
            bus.bind((name,))
            return bus
        except OSError:
            time.sleep(0.2)


def send(bus: socket.socket, frame: bytes) -> None:
    """One frame; again where the bus is down or its queue full."""
    while True:
        try:
            bus.send(frame)
            return
        except OSError:
            time.sleep(0.001)


def open_beat() -> int | None:
    """The port for the beat, if this board has one; a full one is not waited for."""
    try:
        port = os.open(BEAT, os.O_WRONLY | os.O_NONBLOCK)
    except OSError:
        return None
    fcntl.fcntl(port, fcntl.F_SETFL, os.O_NONBLOCK)
    return port


def now_s() -> float:
    """The boot's clock."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def beat(port: int | None, sent_s: list[float]) -> None:
    """Tells the tests that the board is alive at this moment, and empties the list where it could.

    Args:
        sent_s: When frames were sent that have not been told of.
    """
    if port is None:
        return
    line = " ".join(f"{t:.4f}" for t in (now_s(), *sent_s[-200:])) + "\n"
    try:
        os.write(port, line.encode())
    except OSError:
        return
    sent_s.clear()


def play(bus: socket.socket, path: Path, from_s: float) -> None:
    """Never ends."""
    records = list(RECORD.iter_unpack(path.read_bytes()))
    first_s = records[0][0] + from_s
    records = [r for r in records if r[0] >= first_s]
    port = open_beat()
    sent_s: list[float] = []
    while True:
        start_s = time.monotonic()
        for t_s, number, length, data in records:
            while (wait_s := t_s - first_s - (time.monotonic() - start_s)) > 0:
                time.sleep(min(wait_s, 0.05))
                beat(port, sent_s)
            sent_s.append(now_s())
            send(bus, FRAME.pack(number, length, data))


def load(bus: socket.socket, path: Path, rate: float) -> None:
    """All of a file's frames, as many a second; later where this processor is too slow.

    No bus sends faster than its bits: what is late is caught up at a quarter above the rate, and
    nothing comes of the time in which the board itself stood still.
    """
    with path.open("rb") as file:
        frames = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    count = len(frames) // FRAME.size
    start_s = round_s = time.monotonic()
    sent = 0
    while sent < count:
        before_s, round_s = round_s, time.monotonic()
        most = sent + int(min(round_s - before_s, 0.02) * rate * 1.25) + 1
        due = min(int((round_s - start_s) * rate), most, count)
        for at in range(sent * FRAME.size, due * FRAME.size, FRAME.size):
            send(bus, frames[at : at + FRAME.size])
        sent = due
        time.sleep(0.005)
    print(json.dumps({"sent": sent, "seconds": time.monotonic() - start_s}))


if __name__ == "__main__":
    if sys.argv[1] == "play":
        play(open_bus(sys.argv[2]), Path(sys.argv[3]), float(sys.argv[4]))
    else:
        load(open_bus(sys.argv[2]), Path(sys.argv[3]), float(sys.argv[4]))
