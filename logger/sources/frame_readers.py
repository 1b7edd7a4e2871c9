"""Live CAN frames in batches: SocketCAN, serial-line adapters, and any python-can interface.

None of them ever sends a data frame.
"""

import contextlib
import select
import socket
import struct
import sys
import time
from typing import Any, Protocol

import numpy as np

from logger.boot_clock import mono_us
from logger.decode.can.frames import EXTENDED, FrameBatch
from logger.decode.counters import Counters
from logger.errors import SourceError
from logger.sources.byte_stream import ByteStream

MOST = 20_000  # frames in a batch, assumed
# All by definition in Linux's headers.
_RTR, _ERR = 1 << 30, 1 << 29  # flags in a SocketCAN identifier, <linux/can.h>
_BUS_OFF = 0x40  # in an error frame's identifier: CAN_ERR_BUSOFF in <linux/can/error.h>
_SOCKET_FRAME = struct.Struct("=IB3x8s")
_FORCE_ROOM = 33  # SO_RCVBUFFORCE in <asm-generic/socket.h>
_LOST_SO_FAR = 40  # SO_RXQ_OVFL
_ERR_FILTER = 2  # CAN_RAW_ERR_FILTER in <linux/can/raw.h>


class FrameReader(Protocol):
    """Where frames come from."""

    def read(self, gather_s: float) -> FrameBatch | None:
        """What comes within `gather_s`; None if nothing did. Raises SourceError."""

    def transmit(self, can_id: int, data: bytes) -> None:
        """Sends a frame of an 11-bit identifier; only `sdo.Gate` may call this."""

    def close(self) -> None: ...


def batch_from(times: list[int], ids: list[int], payloads: list[bytes], bus: str) -> FrameBatch:
    """Lists of equal length as a batch."""
    n = len(times)
    width = 8 if all(len(payload) <= 8 for payload in payloads) else 64
    padded = b"".join(payload.ljust(width, b"\0") for payload in payloads)
    return FrameBatch(
        np.array(times, np.int64),
        np.array(ids, np.uint32),
        np.fromiter(map(len, payloads), np.uint8, n),
        np.frombuffer(padded, np.uint8).reshape(n, width),
        np.zeros(n, np.uint16),
        (bus,),
    )


class SocketCanReader:
    """A SocketCAN interface read straight from its socket: one system call a frame.

    Args:
        bus: The interface's name.
        counters: Takes error_frame, bus_off, remote and dropped.
        sock: For tests: a datagram socket that carries frames of 16 bytes.
    """

    def __init__(self, bus: str, counters: Counters, sock: socket.socket | None = None) -> None:
        """Raises SourceError where there is no such interface."""
        self._bus, self._counters = bus, counters
        self._socket = sock if sock is not None else self._open(bus)
        self._lost = 0
        _widen(self._socket)
        self._socket.setblocking(False)

    @staticmethod
    def _open(bus: str) -> socket.socket:
        try:
            sock = socket.socket(socket.AF_CAN, socket.SOCK_RAW, socket.CAN_RAW)
        except (OSError, AttributeError) as error:
            why = "wants Linux's SocketCAN, which this system has not"
            raise SourceError(f"{bus}: {why}") from error
        try:
            sock.setsockopt(socket.SOL_CAN_RAW, _ERR_FILTER, 0x1FFFFFFF)
            sock.bind((bus,))
        except OSError as error:
            sock.close()
            why = f"wants a CAN interface that is up: {error.strerror}"
            raise SourceError(f"{bus}: {why}") from error
        return sock

    def read(self, gather_s: float) -> FrameBatch | None:
        """Frames of the next `gather_s`, each stamped as it is taken from the socket."""
        times: list[int] = []
        frames: list[bytes] = []
        until = time.monotonic() + gather_s
        while len(frames) < MOST:
            left = until - time.monotonic()
            if left <= 0 or not select.select([self._socket], [], [], left)[0]:
                break
            self._drain(times, frames)
            if frames and left > 0.02:
                time.sleep(0.01)  # let some come together: fewer wake-ups
        return self._batch(times, frames) if frames else None

    def _drain(self, times: list[int], frames: list[bytes]) -> None:
        receive, now = self._socket.recv, mono_us
        try:
            frame, extra, _, _ = self._socket.recvmsg(72, 64)
            frames.append(frame)
            times.append(now())
            self._count_lost(extra)
            while len(frames) < MOST:
                frames.append(receive(72))
                times.append(now())
        except BlockingIOError:
            return
        except OSError as error:
            raise SourceError(f"{self._bus} was lost: {error}") from error

    def _count_lost(self, extra: list[tuple[int, int, bytes]]) -> None:
        """The kernel tells how many frames it had no room for since the socket was opened."""
        for level, kind, data in extra:
            if (level, kind) == (socket.SOL_SOCKET, _LOST_SO_FAR):
                lost = int.from_bytes(data[:4], sys.byteorder)
                self._counters.add("dropped", (lost - self._lost) & 0xFFFFFFFF)
                self._lost = lost

    def _batch(self, times: list[int], frames: list[bytes]) -> FrameBatch | None:
        whole = [frame for frame in frames if len(frame) == 16]
        self._counters.add("syntax", len(frames) - len(whole))
        if not whole:
            return None
        raw = np.frombuffer(b"".join(whole), np.uint8).reshape(-1, 16)
        numbers = np.ascontiguousarray(raw[:, :4]).view(np.uint32)[:, 0]
        good = (numbers & (_ERR | _RTR)) == 0
        self._counters.add("error_frame", int(np.count_nonzero(numbers & _ERR)))
        off = (numbers & (_ERR | _BUS_OFF)) == _ERR | _BUS_OFF
        self._counters.add("bus_off", int(np.count_nonzero(off)))
        self._counters.add("remote", int(np.count_nonzero(numbers & _RTR)))
        n = int(np.count_nonzero(good))
        return FrameBatch(
            np.array(times[: len(whole)], np.int64)[good],
            (numbers & ~np.uint32(_ERR | _RTR))[good],
            np.minimum(raw[good, 4], 8),
            np.ascontiguousarray(raw[good, 8:]),
            np.zeros(n, np.uint16),
            (self._bus,),
        )

    def transmit(self, can_id: int, data: bytes) -> None:
        """Only for `sdo.Gate`. Raises SourceError."""
        try:
            self._socket.send(_SOCKET_FRAME.pack(can_id, len(data), data))
        except OSError as error:
            raise SourceError(f"{self._bus}: a request could not be sent: {error}") from error

    def close(self) -> None:
        """May be called twice."""
        self._socket.close()


def _widen(sock: socket.socket) -> None:
    """Room for half a second of a full bus while the board is busy elsewhere.

    Beyond the system's own limit (net.core.rmem_max) only a privileged process may go.
    """
    for option in (_FORCE_ROOM, socket.SO_RCVBUF):
        try:
            sock.setsockopt(socket.SOL_SOCKET, option, 4_000_000)
            break
        except OSError:
            continue
    with contextlib.suppress(OSError):
        sock.setsockopt(socket.SOL_SOCKET, _LOST_SO_FAR, 1)


class SlcanReader:
    """A serial-line adapter, read in chunks and split.

    Args:
        stream: The port; the adapter must be open and listening, or `commands` open it.
        bus: Name for the frames.
        counters: Takes syntax and remote.
    """

    def __init__(self, stream: ByteStream, bus: str, counters: Counters) -> None:
        self._stream, self._bus, self._counters = stream, bus, counters
        self._rest = b""

    def read(self, gather_s: float) -> FrameBatch | None:
        """Frames of the next `gather_s`; those of one chunk share its time."""
        times: list[int] = []
        ids: list[int] = []
        payloads: list[bytes] = []
        until = time.monotonic() + gather_s
        while len(ids) < MOST:
            left = until - time.monotonic()
            if left <= 0:
                break
            chunk = self._stream.read(left)
            if not chunk:
                break
            self._split(chunk, mono_us(), times, ids, payloads)
            if left > 0.02:
                time.sleep(0.02)  # let some come together: fewer wake-ups
        return batch_from(times, ids, payloads, self._bus) if ids else None

    def _split(
        self, chunk: bytes, now: int, times: list[int], ids: list[int], payloads: list[bytes]
    ) -> None:
        *lines, rest = (self._rest + chunk).split(b"\r")
        self._rest = rest if len(rest) < 300 else b""
        before, fromhex = len(ids), bytes.fromhex
        for line in lines:
            try:
                kind = line[:1]
                if kind == b"T":
                    can_id, size, first = int(line[1:9], 16) | EXTENDED, line[9] - 48, 10
                elif kind == b"t":
                    can_id, size, first = int(line[1:4], 16), line[4] - 48, 5
                else:
                    self._other(line)
                    continue
                payload = fromhex(line[first : first + 2 * size].decode("ascii"))
                if len(payload) != size or size > 8 or len(line) - first - 2 * size not in (0, 4):
                    raise ValueError(line)
            except (ValueError, IndexError):
                self._counters.add("syntax")
                continue
            ids.append(can_id)
            payloads.append(payload)
        times += [now] * (len(ids) - before)

    def _other(self, line: bytes) -> None:
        if line[:1] in (b"r", b"R"):
            self._counters.add("remote")
        elif line.strip(b"\a\n") and line[:1] not in (b"z", b"Z", b"V", b"N", b"F"):
            self._counters.add("syntax")

    def transmit(self, can_id: int, data: bytes) -> None:
        """Serial-line adapters only listen here. Raises SourceError."""
        raise SourceError(f"{self._bus}: sdo needs another interface than slcan")

    def close(self) -> None:
        """May be called twice."""
        self._stream.close()


class LibraryReader:
    """Any interface of python-can, frame by frame.

    Args:
        bus: A python-can bus.
        name: Name for the frames.
        counters: Takes error_frame and remote.
    """

    def __init__(self, bus: Any, name: str, counters: Counters) -> None:
        self._bus, self._name, self._counters = bus, name, counters

    def read(self, gather_s: float) -> FrameBatch | None:
        """Frames of the next `gather_s`, stamped as they are taken."""
        from can import CanError

        times: list[int] = []
        ids: list[int] = []
        payloads: list[bytes] = []
        until, left = time.monotonic() + gather_s, gather_s
        try:
            while left > 0 and len(ids) < MOST:
                message = self._bus.recv(left)
                if message is not None and self._is_data(message):
                    times.append(mono_us())
                    extended = EXTENDED if message.is_extended_id else 0
                    ids.append(message.arbitration_id | extended)
                    payloads.append(bytes(message.data))
                left = until - time.monotonic()
        except (CanError, OSError, ValueError) as error:
            raise SourceError(f"{self._name} was lost: {error}") from error
        return batch_from(times, ids, payloads, self._name) if ids else None

    def _is_data(self, message: Any) -> bool:
        if message.is_error_frame:
            self._counters.add("error_frame")
        elif message.is_remote_frame:
            self._counters.add("remote")
        else:
            return True
        return False

    def transmit(self, can_id: int, data: bytes) -> None:
        """Only for `sdo.Gate`. Raises SourceError."""
        from can import CanError, Message

        try:
            self._bus.send(Message(arbitration_id=can_id, data=data, is_extended_id=False))
        except (CanError, OSError, ValueError) as error:
            raise SourceError(f"{self._name}: a request could not be sent: {error}") from error

    def close(self) -> None:
        """May be called twice."""
        self._bus.shutdown()
