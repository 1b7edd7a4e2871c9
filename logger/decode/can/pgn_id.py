"""The 29-bit identifier of SAE J1939 and NMEA 2000.

Bits 28-26 priority, 25 extended page, 24 data page, 23-16 PF, 15-8 PS, 7-0 source address.
PF below 240: PS is the destination and the parameter group number's low byte is 0.
Source: reference values 4.2.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Identifier:
    """An identifier taken apart. destination is 255 where a message is for everybody."""

    priority: int
    pgn: int
    source: int
    destination: int


def split(can_id: int) -> Identifier:
    """A 29-bit identifier (bit 31 may be set) taken apart."""
    addressed = (can_id >> 16) & 0xFF < 240
    destination = (can_id >> 8) & 0xFF if addressed else 255
    return Identifier((can_id >> 26) & 7, pgn_of(can_id), can_id & 0xFF, destination)


def pgn_of(can_id: int) -> int:
    """The parameter group number of a 29-bit identifier (bit 31 may be set)."""
    pgn = (can_id >> 8) & 0x3FFFF
    return pgn & 0x3FF00 if (pgn >> 8) & 0xFF < 240 else pgn
