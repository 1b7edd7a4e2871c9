"""One writer per log: an advisory lock on a file beside it, let go by the system at any exit."""

import fcntl
import os
from pathlib import Path

from logger.errors import StoreError


def lock_path(log_path: Path) -> Path:
    """The lock's file; it stays beside the log once there was a writer."""
    return log_path.with_name(log_path.name + ".lock")


class WriterLock:
    """Held from construction to `release`."""

    def __init__(self, log_path: Path) -> None:
        """Raises StoreError where another process, or this one, is writing to the log."""
        self.path = lock_path(log_path)
        self._fd: int | None = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(self._fd)
            self._fd = None
            raise StoreError(
                f"{log_path} is being written by another recorder or replay; stop it first"
            ) from error

    def release(self) -> None:
        """Lets go. May be called twice."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None
