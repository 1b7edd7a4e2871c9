"""One line of CAN log text in any of its layouts, for lines that are not laid out regularly."""

import re
from datetime import UTC, datetime

from logger.decode.can.frames import (
    EXTENDED,
    Frame,
)
from logger.decode.counters import Counters
from logger.sources.recordings.opened import LATEST_US

_LINE = re.compile(
    rb"^\s*(?:\((?P<time>[^)]{1,40})\)\s+)?(?P<bus>[\w.:-]{1,32})\s+"
    rb"(?:[RT]X [-B] [-E]\s+)?"
    rb"(?:(?P<error>ERROR\b.*)"
    rb"|(?P<id>[0-9A-Fa-f]{3,8})(?:##(?P<fd>[0-9A-Fa-f])(?P<fd_data>[0-9A-Fa-f]*)"
    rb"|#(?P<remote>R[0-9A-Fa-f]?)|#(?P<data>(?:[0-9A-Fa-f]{2}\.?)*)(?:_[9A-Fa-f])?"
    rb"|\s+\[(?P<size>\d{1,3})\]\s*(?:(?P<remote_text>remote request)|(?P<spaced>[0-9A-Fa-f ]*)))"
    rb"(?:\s+[RT]|\s*'[^']*'.*|\s+.{0,3})?)\s*$"
)
LONGEST = 1024  # bytes of a line: 64 of data, spaced, in text and hex, take some 300; assumed
_ERROR_BIT = 1 << 29  # CAN_ERR_FLAG, by definition in <linux/can.h>


class LineReader:
    """Reads lines one by one; keeps the last time for lines that have none."""

    def __init__(self, counters: Counters) -> None:
        self._counters = counters
        self._last_us = -1

    def read(self, line: bytes) -> Frame | None:
        """The line's frame; None where it has none (blank, error frame, remote, not a frame)."""
        if not line.strip() or line.lstrip().startswith(b"#"):
            return None
        found = _LINE.match(line) if len(line) <= LONGEST else None
        if not found:
            self._counters.add("syntax")
            return None
        if found["error"]:
            self._counters.add("error_frame")
            return None
        if found["remote"] or found["remote_text"]:
            self._counters.add("remote")
            return None
        return self._frame(found)

    def _frame(self, found: "re.Match[bytes]") -> Frame | None:
        text = found["fd_data"] or found["data"] or found["spaced"] or b""
        digits = text.replace(b" ", b"").replace(b".", b"")
        number = int(found["id"], 16)
        wide = len(found["id"]) > 3
        said = int(found["size"]) if found["size"] else len(digits) // 2
        if len(digits) % 2 or said * 2 != len(digits) or said > 64:
            self._counters.add("syntax")
            return None
        if wide and number & _ERROR_BIT:
            self._counters.add("error_frame")
            return None
        if number >= (1 << 29 if wide else 1 << 11):
            self._counters.add("syntax")
            return None
        t_us = self._time(found["time"])
        if t_us is None:
            return None
        can_id = number | (EXTENDED if wide else 0)
        return Frame(t_us, can_id, bytes.fromhex(digits.decode()), found["bus"].decode())

    def _time(self, text: bytes | None) -> int | None:
        if text is None:
            self._counters.add("untimed")
            self._last_us += 1
            return self._last_us
        try:
            self._last_us = read_time(text.decode("ascii"))
        except ValueError:
            self._counters.add("syntax")
            return None
        return self._last_us


def read_time(text: str) -> int:
    """A time stamp in µs: seconds, or a date and time of day taken as UTC.

    Raises:
        ValueError: Neither, or no time of a recording.
    """
    if "-" in text.strip()[1:]:
        moment = datetime.fromisoformat(text.strip()).replace(tzinfo=UTC)
        t_us = round(moment.timestamp() * 1_000_000)
    else:
        whole, _, part = text.strip().partition(".")
        if not (whole.isdigit() and (part.isdigit() or not part)) or len(whole) > 11:
            raise ValueError(text)
        t_us = int(whole) * 1_000_000 + int(part[:6].ljust(6, "0"))
    if not 0 <= t_us < LATEST_US:
        raise ValueError(text)
    return t_us
