"""NMEA 2000 fast packets: up to 223 bytes in frames of eight.

Byte 0 is a 3-bit sequence (high) and a 5-bit frame number; frame 0 adds the length and six
bytes, later frames seven; the last is padded with FF. Source: reference values 4.3.
"""

from logger.decode.counters import Counters


class FastPacket:
    """Puts the frames of one identifier together; out-of-order frames lose their message."""

    def __init__(self, counters: Counters) -> None:
        self._counters = counters
        self._open: dict[int, tuple[int, bytearray]] = {}  # sequence -> (length, bytes so far)

    def feed(self, frame: bytes) -> bytes | None:
        """Adds a frame; the whole message once it is complete."""
        if len(frame) < 2:
            self._counters.add("length")
            return None
        sequence, number = frame[0] >> 5, frame[0] & 31
        if number == 0:
            return self._begin(sequence, frame)
        length, payload = self._open.get(sequence, (0, bytearray()))
        if not length or len(payload) != 6 + 7 * (number - 1):
            self._counters.add("lost_packet")
            self._open.pop(sequence, None)
            return None
        payload += frame[1:8]
        return self._finished(sequence, length, payload)

    def _begin(self, sequence: int, frame: bytes) -> bytes | None:
        if sequence in self._open:
            self._counters.add("lost_packet")
        length = frame[1]
        if not 0 < length <= 223:
            self._open.pop(sequence, None)
            self._counters.add("length")
            return None
        return self._finished(sequence, length, bytearray(frame[2:8]))

    def _finished(self, sequence: int, length: int, payload: bytearray) -> bytes | None:
        if len(payload) >= length:
            self._open.pop(sequence, None)
            return bytes(payload[:length])
        self._open[sequence] = (length, payload)
        return None
