"""Who may look, and who may change: this computer itself, and paired phones.

A request from this computer may do both. One from the boat's network needs a cookie, which a
pairing code brings; the codes stand on the board's console. There are two codes: one to look, one
to look and change the settings.
"""

import hmac
import ipaddress
import secrets
import time
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import itsdangerous

Right = Literal["look", "change"]
COOKIE = "keelwatt"
LASTS_S = 400 * 86400  # the longest that browsers keep a cookie
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that could be taken for another
_CODE_LENGTH = 8  # 31^8: a year of guesses at the rate below finds one with 1 in 50,000


def new_code() -> str:
    """A pairing code, "ABCD-2345"."""
    code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
    return f"{code[:4]}-{code[4:]}"


@dataclass
class Tries:
    """Counts wrong codes: so many a minute from one address, and so many from all."""

    each: int = 5
    all: int = 30
    over_s: float = 60.0
    _wrong: deque[tuple[float, str]] = field(default_factory=deque)

    def allowed(self, address: str) -> bool:
        """Whether this address may try now."""
        now_s = time.monotonic()
        while self._wrong and self._wrong[0][0] < now_s - self.over_s:
            self._wrong.popleft()
        mine = sum(1 for _, who in self._wrong if who == address)
        return mine < self.each and len(self._wrong) < self.all

    def wrong(self, address: str) -> None:
        """A wrong code came from this address."""
        self._wrong.append((time.monotonic(), address))


class Access:
    """Gives rights for codes, and knows them again by their cookie.

    Args:
        key: Signs the cookies; whoever has it can make one.
        codes: By right; None: new ones.
    """

    def __init__(self, key: bytes, codes: dict[Right, str] | None = None) -> None:
        self.codes: dict[Right, str] = codes or {"look": new_code(), "change": new_code()}
        self.tries = Tries()
        self._signer = itsdangerous.TimestampSigner(key, salt="keelwatt pairing")

    def pair(self, code: str) -> Right | None:
        """The right that a code gives; None where it gives none. Spaces and case do not matter."""
        given = "".join(letter for letter in code.upper() if letter in _LETTERS).encode()
        found: Right | None = None
        for right, want in self.codes.items():
            if hmac.compare_digest(given, want.replace("-", "").encode()):
                found = right
        return found

    def cookie(self, right: Right) -> str:
        """The signed cookie for a right."""
        return self._signer.sign(right).decode()

    def right_of(self, cookie: str | None) -> Right | None:
        """The right that a cookie carries; None where it is missing, forged or too old."""
        if not cookie:
            return None
        try:
            right = self._signer.unsign(cookie, max_age=LASTS_S).decode()
        except itsdangerous.BadSignature:
            return None
        return "change" if right == "change" else "look" if right == "look" else None


def is_own(address: str) -> bool:
    """Whether an address is this computer's own loopback."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_loopback


def load_key(path: Path, renew: bool = False) -> bytes:
    """The key in a file that only its owner may read; made where it is not there.

    Args:
        renew: Make a new one, so that no phone is paired any more.
    """
    if not renew:
        try:
            key = path.read_bytes()
        except FileNotFoundError:
            key = b""
        if len(key) >= 32:
            return key
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    path.touch(mode=0o600, exist_ok=False)
    key = secrets.token_bytes(32)
    path.write_bytes(key)
    return key
