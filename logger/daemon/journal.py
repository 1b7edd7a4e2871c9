"""The daemon's log: fields of the system's journal where there is one, else lines on stderr.

`journalctl -u keelwatt-record KEELWATT_SOURCE=gps` then shows one source's story. Protocol: the
journal's native one, systemd's JOURNAL_NATIVE_PROTOCOL: a datagram of NAME=value lines; a value
of several lines is led by its length in 64 bits instead.
"""

import logging
import os
import socket
import sys
from pathlib import Path

SOCKET = Path("/run/systemd/journal/socket")
LONGEST = 16_000  # characters of a message; a datagram has a limit, assumed
_PRIORITIES = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6))  # syslog(3)


class JournalHandler(logging.Handler):
    """Sends records to the journal. A record's `source` (see `logging`'s extra) is a field."""

    def __init__(self, path: Path = SOCKET) -> None:
        """Raises OSError where there is no journal."""
        super().__init__()
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
        try:
            self._socket.connect(str(path))
        except OSError:
            self._socket.close()
            raise

    def emit(self, record: logging.LogRecord) -> None:
        """Sends one record; what cannot be sent goes to stderr."""
        text = self.format(record)[:LONGEST]
        fields = {
            "MESSAGE": text,
            "PRIORITY": str(priority(record.levelno)),
            "SYSLOG_IDENTIFIER": "keelwatt",
            "CODE_FILE": record.pathname,
            "CODE_LINE": str(record.lineno),
        }
        source = getattr(record, "source", None)
        if source:
            fields["KEELWATT_SOURCE"] = str(source)
        try:
            self._socket.send(b"".join(_field(name, value) for name, value in fields.items()))
        except OSError:
            print(text, file=sys.stderr)

    def close(self) -> None:
        """May be called twice."""
        self._socket.close()
        super().close()


def priority(level: int) -> int:
    """The journal's priority of a logging level."""
    return next((number for least, number in _PRIORITIES if level >= least), 7)


def _field(name: str, value: str) -> bytes:
    data = value.encode("utf-8", "replace")
    if b"\n" not in data:
        return name.encode() + b"=" + data + b"\n"
    return name.encode() + b"\n" + len(data).to_bytes(8, "little") + data + b"\n"


def set_up(path: Path = SOCKET) -> logging.Handler:
    """Makes this process log to the journal if systemd started it, else to stderr."""
    handler: logging.Handler
    try:
        if "JOURNAL_STREAM" not in os.environ:
            raise FileNotFoundError
        handler = JournalHandler(path)
    except OSError:
        handler = logging.StreamHandler()
        handler.setFormatter(logging.Formatter("%(levelname)s %(message)s"))
    root = logging.getLogger()
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    return handler
