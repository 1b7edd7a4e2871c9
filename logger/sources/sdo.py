"""The one thing that may leave on a CAN bus: SDO upload requests that the boat file allows.

In an entry of a "can" source's `decode` list (see decode/canopen_node.py):

    sdo = [{object = "0x6041", period_s = 10}]    # each must also be in `signals`

A request reads; it cannot change anything. Nothing else is ever sent: no NMT, no SYNC, no
download. `Gate.send` looks at the finished frame again and refuses all others.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

from logger.errors import SourceError

UPLOAD = 0x40  # CiA 301: initiate upload request, by definition


@dataclass(frozen=True, slots=True)
class SdoRead:
    """An object to ask for, again and again."""

    node: int
    index: int
    sub: int
    period_s: float

    @property
    def can_id(self) -> int:
        """Identifier of the request."""
        return 0x600 + self.node

    @property
    def data(self) -> bytes:
        """The request's eight bytes. Reference values 4.4."""
        return bytes([UPLOAD, self.index & 0xFF, self.index >> 8, self.sub, 0, 0, 0, 0])


class Gate:
    """Lets permitted upload requests through to the bus and nothing else.

    Args:
        permitted: What the boat file allows.
        transmit: Puts a frame of an 11-bit identifier on the bus.
    """

    def __init__(
        self, permitted: tuple[SdoRead, ...], transmit: Callable[[int, bytes], None]
    ) -> None:
        self._frames = frozenset((read.can_id, read.data) for read in permitted)
        self._transmit = transmit

    def send(self, can_id: int, data: bytes) -> None:
        """Sends a permitted request.

        Raises:
            SourceError: The frame is anything else; nothing is sent.
        """
        upload = 0x601 <= can_id <= 0x67F and len(data) == 8 and data[0] == UPLOAD
        if not upload or (can_id, data) not in self._frames:
            raise SourceError(f"0x{can_id:03x}: only permitted SDO upload requests may be sent")
        self._transmit(can_id, data)


class SdoSchedule:
    """Asks for each object in its period."""

    def __init__(self, reads: tuple[SdoRead, ...], gate: Gate) -> None:
        self._reads, self._gate = reads, gate
        self._due_s = dict.fromkeys(reads, 0.0)

    def ask(self) -> None:
        """Sends what is due. Raises SourceError where the bus is lost."""
        now = time.monotonic()
        for read in self._reads:
            if now >= self._due_s[read]:
                self._due_s[read] = now + read.period_s
                self._gate.send(read.can_id, read.data)
