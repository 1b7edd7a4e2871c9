"""Asks for what only root may do on board; see deploy/errand.py for the closed list of acts."""

import json
import socket
from pathlib import Path

SOCKET = Path("/run/keelwatt-errand")
# Each usual bit rate of a bus is listened to for a moment; assumed.
PATIENCE_S = 90.0
MOST_BYTES = 4096

NOBODY = (
    "Nobody answers who could do this: this computer was not set up by keelwatt's own installing."
)


def there(where: Path) -> bool:
    """Whether this computer has somebody to ask."""
    return where.is_socket()


def ask(where: Path, act: str, **words: str) -> tuple[bool, str]:
    """Asks for one act.

    Args:
        where: The socket.
        act: Its name. words: what it wants.
    Returns:
        Whether it was done, and a sentence.
    """
    try:
        with socket.socket(socket.AF_UNIX) as asking:
            asking.settimeout(PATIENCE_S)
            asking.connect(str(where))
            asking.sendall(json.dumps({"act": act, **words}).encode() + b"\n")
            told = json.loads(_all(asking))
        return bool(told["ok"]), str(told["said"])
    except (OSError, ValueError, KeyError, TypeError):
        return False, NOBODY


def _all(asking: socket.socket) -> bytes:
    got = b""
    while len(got) < MOST_BYTES and (piece := asking.recv(MOST_BYTES)):
        got += piece
    return got
