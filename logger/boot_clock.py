"""The boot's own clock, the boot's name, and whether the system clock can be believed."""

import ctypes
import time
import uuid
from pathlib import Path

from logger.reading import UtcFix

_CLOCK = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)  # goes on while suspended
_UNSYNC = 0x0040  # STA_UNSYNC in <sys/timex.h>, by definition


def mono_us() -> int:
    """Microseconds on the boot's monotonic clock."""
    return time.clock_gettime_ns(_CLOCK) // 1000


def boot_uid(path: Path = Path("/proc/sys/kernel/random/boot_id")) -> str:
    """The system's name for this boot; one made up where the system has none."""
    try:
        return path.read_text(encoding="ascii").strip()
    except OSError:
        return f"unnamed-{uuid.uuid4()}"


class _Timex(ctypes.Structure):
    """The head of struct timex; the kernel fills more than is named here."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),  # µs
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_char * 256),
    )


def ntp_fix() -> UtcFix | None:
    """A fix from the system clock where the kernel says that it is kept by network time."""
    state = _Timex()  # modes = 0 only asks
    try:
        result = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(state))
    except (OSError, AttributeError):
        return None
    if result < 0 or state.status & _UNSYNC:
        return None
    t_us = mono_us()
    uncertainty_s = max(state.maxerror / 1e6, 0.01)
    return UtcFix(t_us, time.time_ns() // 1000, "ntp", uncertainty_s)
