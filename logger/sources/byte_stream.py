"""Bytes from a serial port, a TCP connection or UDP datagrams, a chunk at a time."""

import errno
import os
import select
import socket
from typing import Any, Protocol

from logger.errors import BoatFileError, SourceError
from logger.sources.options import Options
from logger.sources.serial_port import open_port

CHUNK = 65536  # bytes of one read, assumed
STREAM_KEYS = ("port", "baud", "tcp", "udp", "parity", "stop_bits")


class ByteStream(Protocol):
    """Where bytes come from."""

    def read(self, timeout_s: float) -> bytes:
        """What has come, at most `timeout_s` later; b"" if nothing. Raises SourceError."""

    def close(self) -> None: ...


_WHY = {
    errno.ENOENT: "is not there: plug it in",
    errno.EACCES: "may not be opened by this user: the group dialout may",
    errno.EBUSY: "is held by another program",
}


class SerialStream:
    """A serial port, read in chunks by pyserial."""

    def __init__(self, port: str, baud: int, parity: str = "N", stop_bits: int = 1) -> None:
        """Raises SourceError where the port cannot be opened."""
        import serial

        self._port = port
        try:
            self._serial = open_port(port, baud, parity=parity, stop_bits=stop_bits)
        except BoatFileError:
            raise
        except (serial.SerialException, OSError, ValueError) as error:
            why = _WHY.get(getattr(error, "errno", None) or 0, f"cannot be opened as one: {error}")
            raise SourceError(f"{port}: wants a serial port; it {why}") from error
        # Setting pyserial's timeout at each read costs several system calls, so wait by select.
        self._fd = _descriptor(self._serial)

    def read(self, timeout_s: float) -> bytes:
        """Waits for bytes, then takes all that are there."""
        try:
            if self._fd is None:
                return self._read_by_library(timeout_s)
            if not select.select([self._fd], [], [], timeout_s)[0]:
                self._still_there()
                return b""
            chunk = os.read(self._fd, CHUNK)
        except Exception as error:  # pyserial lets errors of termios and of its own through
            known = isinstance(error, OSError | TypeError | AttributeError | ValueError)
            if known or type(error).__module__.startswith(("serial", "termios")):
                raise SourceError(f"{self._port} was lost: {error}") from error
            raise
        if not chunk:
            raise SourceError(f"{self._port} was lost")
        return chunk

    def _read_by_library(self, timeout_s: float) -> bytes:
        self._serial.timeout = timeout_s
        first: bytes = self._serial.read(1)
        return first + bytes(self._serial.read(self._serial.in_waiting)) if first else b""

    def write(self, text: bytes) -> None:
        """Sends to the adapter itself (never used for a device on a bus). Raises SourceError."""
        try:
            self._serial.write(text)
        except OSError as error:
            raise SourceError(f"{self._port} was lost: {error}") from error

    def _still_there(self) -> None:
        """A port that was unplugged can look merely quiet."""
        _ = self._serial.in_waiting

    def close(self) -> None:
        """May be called twice."""
        self._serial.close()


def _descriptor(port: Any) -> int | None:
    """The port's file descriptor; None where it has none (a URL of pyserial)."""
    try:
        return int(port.fileno())
    except (OSError, AttributeError, NotImplementedError):
        return None


class TcpStream:
    """A TCP connection as a client."""

    def __init__(self, host: str, port: int, connect_s: float = 5.0) -> None:
        """Raises SourceError where nobody answers."""
        self._name = f"{host}:{port}"
        try:
            self._socket = socket.create_connection((host, port), timeout=connect_s)
        except OSError as error:
            raise SourceError(f"{self._name}: nobody answers there: {error}") from error
        # A radio link that breaks off closes nothing: the system asks whether the other side is
        # still there, and the connection is lost after 25 s without an answer.
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 5), ("TCP_KEEPCNT", 3)):
            if hasattr(socket, name):
                self._socket.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)

    def read(self, timeout_s: float) -> bytes:
        """A chunk; a connection closed by the other side is lost."""
        if not select.select([self._socket], [], [], timeout_s)[0]:
            return b""
        try:
            chunk = self._socket.recv(CHUNK)
        except OSError as error:
            raise SourceError(f"{self._name} was lost: {error}") from error
        if not chunk:
            raise SourceError(f"{self._name} was closed by the other side")
        return chunk

    def close(self) -> None:
        """May be called twice."""
        self._socket.close()


class UdpStream:
    """UDP datagrams sent to a port here; each ends a line."""

    def __init__(self, port: int, host: str = "") -> None:
        """Raises SourceError where the port is taken."""
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        try:
            self._socket.bind((host, port))
        except OSError as error:
            self._socket.close()
            raise SourceError(f"UDP port {port}: cannot be listened on: {error}") from error
        self._socket.setblocking(False)

    @property
    def port(self) -> int:
        """The port listened on."""
        return int(self._socket.getsockname()[1])

    def read(self, timeout_s: float) -> bytes:
        """All datagrams that are there."""
        if not select.select([self._socket], [], [], timeout_s)[0]:
            return b""
        parts: list[bytes] = []
        while len(parts) < 1000:
            try:
                parts.append(self._socket.recv(CHUNK))
            except BlockingIOError:
                break
            except OSError as error:
                raise SourceError(f"UDP was lost: {error}") from error
        return b"".join(part if part.endswith(b"\n") else part + b"\r\n" for part in parts)

    def close(self) -> None:
        """May be called twice."""
        self._socket.close()


def open_stream(options: Options, default_baud: int = 4800) -> ByteStream:
    """The stream that a source's options name: `port` and `baud`, `tcp` or `udp`.

    Raises:
        BoatFileError: None of them, or more than one.
        SourceError: It cannot be opened now.
    """
    ways = [key for key in ("port", "tcp", "udp") if key in options.table]
    if len(ways) != 1:
        raise options.wrong("port", 'exactly one of port = "/dev/...", tcp = "host:port", udp = n')
    if ways == ["port"]:
        parity = options.text("parity", "N")
        if parity not in ("N", "E", "O"):
            raise options.wrong("parity", "N, E or O")
        baud = options.whole("baud", default_baud, 50, 4_000_000)
        return SerialStream(options.text("port"), baud, parity, options.whole("stop_bits", 1, 1, 2))
    if ways == ["udp"]:
        return UdpStream(options.whole("udp", None, 1, 65535))
    host, _, port = options.text("tcp").rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise options.wrong("tcp", '"host:port"')
    return TcpStream(host, int(port))
