"""Which bit rate a CAN bus has, by listening at each usual one; nothing is sent or acknowledged.

At a wrong rate a controller that only listens reports errors and no frames; at the right one whole
frames, each with a check sum that fits (ISO 11898-1). A frame could fit by chance, so several are
wanted.
"""

import socket
import struct
import time
from collections.abc import Callable
from pathlib import Path

# Most usual first: NMEA 2000 and J1939, motor controllers, then CANopen's others (CiA 301).
USUAL = (250000, 500000, 125000, 1000000, 800000, 100000, 50000, 20000, 10000)
LISTEN_S = 1.5  # each; a battery or motor controller sends several times a second; assumed
ENOUGH = 3  # whole frames; assumed
ARPHRD_CAN = "280"  # linux/if_arp.h
CAN_ERR_FLAG, CAN_ERR_MASK = 0x20000000, 0x1FFFFFFF  # linux/can.h
SOL_CAN_RAW, CAN_RAW_ERR_FILTER = 101, 2  # linux/can/raw.h

Run = Callable[..., object]
Listen = Callable[[str, float], tuple[int, int]]


def is_can(root: Path, bus: str) -> bool:
    """Whether this computer has such a CAN bus."""
    kind = root / "sys/class/net" / bus / "type"
    return kind.is_file() and kind.read_text().strip() == ARPHRD_CAN


def find(bus: str, run: Run, listen: Listen | None = None) -> int | None:
    """The bit rate at which frames are understood; None where there is none. The bus ends down.

    Args:
        bus: Its name.
        run: Runs a command.
        listen: Counts frames and errors on the bus over seconds; None: on the real one.
    """
    count = listen or heard
    try:
        for rate in USUAL:
            run("ip", "link", "set", bus, "down")
            told = ("type", "can", "bitrate", str(rate), "listen-only", "on")
            run("ip", "link", "set", bus, "up", *told)
            frames, errors = count(bus, LISTEN_S)
            if frames >= ENOUGH and frames > errors:
                return rate
    finally:
        run("ip", "link", "set", bus, "down")
    return None


def heard(bus: str, seconds: float) -> tuple[int, int]:
    """How many whole frames and how many errors a bus brings in some seconds."""
    frames = errors = 0
    end_s = time.monotonic() + seconds
    with socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW) as listening:
        listening.setsockopt(SOL_CAN_RAW, CAN_RAW_ERR_FILTER, struct.pack("=I", CAN_ERR_MASK))
        listening.bind((bus,))
        while (left_s := end_s - time.monotonic()) > 0:
            listening.settimeout(left_s)
            try:
                frame = listening.recv(16)
            except TimeoutError:
                break
            if struct.unpack_from("=I", frame)[0] & CAN_ERR_FLAG:
                errors += 1
            else:
                frames += 1
    return frames, errors
