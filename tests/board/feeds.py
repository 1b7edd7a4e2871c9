"""What comes from outside the board: its GPS receiver, and the recordings its bus plays.

Both are the demo's invented outing, given today's date.
"""

import contextlib
import fcntl
import gzip
import io
import re
import socket
import struct
import termios
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import zstandard

DEMO = Path(__file__).parents[2] / "replay/demo"
RECORD = struct.Struct("<dIB3x8s")  # as inside/bus.py reads it
_LINE = re.compile(rb"\((\d+\.\d+)\) \S+ ([0-9A-F]+)#([0-9A-F]*)")


def write_bus_recording(path: Path) -> None:
    """The demo's CAN frames in the form that the board plays."""
    with (DEMO / "demo.candump.log.zst").open("rb") as packed:
        text = io.BufferedReader(zstandard.ZstdDecompressor().stream_reader(packed)).read()
    with path.open("wb") as out:
        for time_s, number, digits in _LINE.findall(text):
            data = bytes.fromhex(digits.decode())
            out.write(RECORD.pack(float(time_s), int(number, 16), len(data), data))


def read_sentences() -> list[tuple[float, str]]:
    """The demo's NMEA 0183 lines with seconds since the recording's first CAN frame."""
    with gzip.open(DEMO / "demo.nmea.gz", "rt") as lines:
        found = [re.match(r"\((\d+\.\d+)\) \S+ (\$.*)", line) for line in lines]
    timed = [(float(m[1]), m[2].strip()) for m in found if m]
    first_s = timed[0][0]
    return [(t - first_s, sentence) for t, sentence in timed]


def dated(sentence: str, now: datetime, fix: bool) -> str:
    """The sentence with another date in RMC; without a fix, as a receiver says that.

    Source of the fields' order: NMEA 0183, RMC.
    """
    words = sentence[1:].split("*")[0].split(",")
    if words[0].endswith("RMC"):
        words[1], words[9] = now.strftime("%H%M%S.") + f"{now.microsecond // 10000:02d}", ""
        if fix:
            words[9] = now.strftime("%d%m%y")
        else:
            words[1:9] = ["", "V", "", "", "", "", "", ""]
            words[-1] = "N"
    elif not fix and words[0].endswith("VTG"):
        words[1:] = ["", "T", "", "M", "", "N", "", "K", "N"]
    body = ",".join(words)
    check = 0
    for letter in body.encode():
        check ^= letter
    return f"${body}*{check:02X}\r\n"


class Gps:
    """A receiver on a serial line, until `close`. What nobody reads is lost, as on a real line.

    Args:
        port: The line's other end.
        from_s: Where in the outing it begins.
        fix_after_s: Until then it has no fix; may be set later.
    """

    def __init__(self, port: socket.socket, from_s: float, fix_after_s: float = 0.0) -> None:
        self._port = port
        self.heard_bytes = 0  # what the board sent to the receiver: a listener sends nothing
        self._sentences = [(t - from_s, s) for t, s in read_sentences() if t >= from_s]
        self.fix_after_s = fix_after_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        with contextlib.suppress(OSError):
            self._speak()

    def _speak(self) -> None:
        start_s = time.monotonic()
        while not self._stop.is_set():
            round_s = time.monotonic()
            for at_s, sentence in self._sentences:
                if self._stop.wait(max(0.0, round_s + at_s - time.monotonic())):
                    return
                fix = time.monotonic() - start_s >= self.fix_after_s
                if not self._unread():
                    with contextlib.suppress(OSError):
                        self._port.send(dated(sentence, datetime.now(UTC), fix).encode())
                with contextlib.suppress(OSError):
                    self.heard_bytes += len(self._port.recv(65536, socket.MSG_DONTWAIT))

    def _unread(self) -> int:
        """Bytes that wait for a reader. A line has no memory: what comes meanwhile is lost."""
        with contextlib.suppress(OSError, ValueError):  # the other end is gone
            waiting = fcntl.ioctl(self._port, termios.TIOCOUTQ, b"\0\0\0\0")
            return int.from_bytes(waiting, "little")
        return 0

    def close(self) -> None:
        """Unplugs it."""
        self._stop.set()
        self._thread.join(5)
