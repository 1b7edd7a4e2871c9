"""Keeping a process that runs for years on a small board small."""

import ctypes
import gc

_M_TRIM_THRESHOLD, _M_ARENA_MAX = -1, -8  # by definition in <malloc.h>


def keep_small() -> None:
    """One heap for all threads instead of one each, given back to the system when it is free.

    Only glibc knows these settings; elsewhere nothing happens.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):
        return
    mallopt(_M_ARENA_MAX, 1)
    mallopt(_M_TRIM_THRESHOLD, 128 * 1024)


def settle() -> None:
    """What start-up left behind goes; what it made to stay is not looked through again."""
    gc.collect()
    gc.freeze()
    trim()


def trim() -> None:
    """Gives freed memory back to the system."""
    try:
        ctypes.CDLL(None).malloc_trim(0)
    except (OSError, AttributeError):
        return
