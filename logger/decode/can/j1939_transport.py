"""J1939 messages of more than eight bytes, put together from what passes by.

Connection management (PGN 60416) announces length, packets and the PGN carried; data transfer
(PGN 60160) brings packets of seven bytes, numbered from 1. Broadcasts and transfers between two
devices are both listened to; nothing is answered. Source: reference values 4.2; control bytes
16 (request to send), 19 (end), 32 (broadcast), 255 (abort) from memory of the public tables.
"""

from dataclasses import dataclass, field

from logger.decode.counters import Counters

# Parameter groups and control bytes, by definition in SAE J1939-21.
CONNECTION, DATA = 0xEC00, 0xEB00
_BEGIN = (16, 32)
_ABORT = 255
MOST_OPEN = 200  # messages begun and not ended; garbage must not fill memory: assumed


@dataclass(slots=True)
class Announced:
    """A message on its way."""

    pgn: int
    length: int
    packets: int
    got: bytearray = field(default_factory=bytearray)
    next_number: int = 1


class Transport:
    """Puts messages together, by sender and receiver."""

    def __init__(self, counters: Counters) -> None:
        self._counters = counters
        self._open: dict[tuple[int, int], Announced] = {}

    def feed(
        self, pgn: int, source: int, destination: int, data: bytes
    ) -> tuple[int, bytes] | None:
        """Takes a frame of PGN 60416 or 60160; PGN and payload once a message is whole."""
        if len(data) != 8:
            self._counters.add("length")
            return None
        if pgn == CONNECTION:
            self._announce(source, destination, data)
            return None
        return self._packet(source, destination, data)

    def _announce(self, source: int, destination: int, data: bytes) -> None:
        key = (source, destination)
        if data[0] == _ABORT:
            self._open.pop(key, None)
            self._open.pop((destination, source), None)
            return
        if data[0] not in _BEGIN:
            return
        length, packets = data[1] | data[2] << 8, data[3]
        if key in self._open:
            self._counters.add("lost_packet")
        if not 9 <= length <= 1785 or packets != -(-length // 7):
            self._open.pop(key, None)
            self._counters.add("syntax")
            return
        if len(self._open) >= MOST_OPEN:
            self._open.clear()
        self._open[key] = Announced(int.from_bytes(data[5:8], "little"), length, packets)

    def _packet(self, source: int, destination: int, data: bytes) -> tuple[int, bytes] | None:
        message = self._open.get((source, destination))
        if message is None or data[0] != message.next_number:
            # A packet sent again after it was lost to its receiver is no loss to us.
            if message is None or data[0] > message.next_number:
                self._counters.add("lost_packet")
                self._open.pop((source, destination), None)
            return None
        message.got += data[1:]
        message.next_number += 1
        if message.next_number <= message.packets:
            return None
        del self._open[source, destination]
        return message.pgn, bytes(message.got[: message.length])
