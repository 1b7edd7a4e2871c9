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
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import itsdangerous

Right = Literal["look", "change"]
COOKIE = "keelwatt"
LASTS_S = 400 * 86400  # the longest that browsers keep a cookie (RFC 6265bis, from memory)
CODE_LASTS_S = 3600.0  # assumed
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that could be taken for another
_CODE_LENGTH = 8  # 31^8; a hundred devices that guess for a year: 1 in 3000; assumed
# It serves always, so it is longer: 31^12 are 59 bits. Chosen here, no source.
_SHEET_CODE_LENGTH = 12


def _letters_of(code: str) -> bytes:
    """A code without what people put between and around its letters."""
    return "".join(letter for letter in code.upper() if letter in _LETTERS).encode()


def new_code() -> str:
    """A pairing code, "ABCD-2345"."""
    code = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
    return f"{code[:4]}-{code[4:]}"


@dataclass
class Tries:
    """Counts wrong codes, so many a minute from one address: guessing costs only who guesses."""

    each: int = 5
    over_s: float = 60.0
    most: int = 5000  # addresses remembered; a flood of more forgets the longest silent
    _wrong: dict[str, deque[float]] = field(default_factory=dict)

    def allowed(self, address: str) -> bool:
        """Whether this address may try now."""
        times = self._wrong.get(network_of(address), ())
        since_s = time.monotonic() - self.over_s
        return sum(1 for at_s in times if at_s > since_s) < self.each

    def wrong(self, address: str) -> None:
        """A wrong code came from this address."""
        times = self._wrong.pop(network_of(address), None) or deque(maxlen=self.each)
        times.append(time.monotonic())
        self._wrong[network_of(address)] = times  # last in the order
        if len(self._wrong) > self.most:
            del self._wrong[next(iter(self._wrong))]


class Access:
    """Gives rights for codes, and knows them again by their cookie.

    A code serves once, and for an hour; the next one is told then. Only the one of a ready card's
    sheet serves always: such a board has no console on which others could be read.

    Args:
        key: Signs the cookies; whoever has it can make one.
        codes: By right; None: new ones.
        tell: Called with the codes whenever one is new: they stand on the board's console.
        sheet_code: Gives the right to look and change; None: there is no sheet.
    """

    def __init__(
        self,
        key: bytes,
        codes: dict[Right, str] | None = None,
        tell: Callable[[dict[Right, str]], None] = lambda codes: None,
        sheet_code: str | None = None,
    ) -> None:
        self._sheet_code = sheet_code
        self.codes: dict[Right, str] = codes or {"look": new_code(), "change": new_code()}
        self.tries = Tries()
        self._made_s = time.monotonic()
        self._tell = tell
        self._signer = itsdangerous.TimestampSigner(key, salt="keelwatt pairing")
        tell(self.codes)

    def offer(self) -> None:
        """Somebody is asked for a code: where those told are too old, new ones are made."""
        if time.monotonic() - self._made_s > CODE_LASTS_S:
            self._renew("look", "change")

    def pair(self, code: str) -> Right | None:
        """The right that a code gives; None where it gives none. Spaces and case do not matter."""
        self.offer()
        given = _letters_of(code)
        if self._sheet_code and hmac.compare_digest(given, _letters_of(self._sheet_code)):
            return "change"
        found: Right | None = None
        for right, want in self.codes.items():
            if hmac.compare_digest(given, _letters_of(want)):
                found = right
        if found:
            self._renew(found)
        return found

    def _renew(self, *rights: Right) -> None:
        self.codes |= {right: new_code() for right in rights}
        self._made_s = time.monotonic()
        self._tell(self.codes)

    def cookie(self, right: Right) -> str:
        """The signed cookie for a right."""
        return self._signer.sign(right).decode()

    def right_of(self, cookie: str | None) -> Right | None:
        """The right that a cookie carries; None where it is missing, forged or too old."""
        if not cookie:
            return None
        try:
            value, made = self._signer.unsign(cookie, return_timestamp=True)
        except itsdangerous.BadSignature:
            return None
        # Made in the future means that this board's clock is behind: the phone stays paired.
        if time.time() - made.timestamp() > LASTS_S:
            return None
        right = value.decode()
        return "change" if right == "change" else "look" if right == "look" else None


def network_of(address: str) -> str:
    """An IPv4 address, or the 64 bits of IPv6 of which a device has all the others (RFC 4291)."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is None:
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)


def is_own(address: str) -> bool:
    """Whether an address is this computer's own loopback."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return (mapped or found).is_loopback


def load_sheet_code(path: Path) -> str | None:
    """The code of a ready card's sheet; None where there is none, or one easily guessed."""
    try:
        code = path.read_text().strip()
    except (OSError, UnicodeDecodeError):
        return None
    return code if len(_letters_of(code)) >= _SHEET_CODE_LENGTH else None


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
