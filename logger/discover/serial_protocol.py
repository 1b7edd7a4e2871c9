"""What a serial line speaks, told from the bytes it sends: NMEA 0183, Modbus RTU, CAN over a
serial line, text lines, or nothing that makes sense at this speed.

Only listens. A Modbus device that nobody asks says nothing and cannot be told from silence.
"""

import re
from dataclasses import dataclass
from functools import reduce
from operator import xor

FEWEST_SENTENCES = 2  # assumed
FEWEST_FRAMES = 3  # a Modbus frame fits by chance once in 65 536 tries, assumed


@dataclass(frozen=True, slots=True)
class Guess:
    """One protocol, and why it is thought to be that.

    Args:
        protocol: "NMEA 0183", "Modbus RTU", "CAN over a serial line", "text lines",
            "NMEA 2000", "J1939", "CANopen", "CAN of a maker's own", "noise" or "silence".
        sureness_frac: How sure.
        text: The evidence, as the end of a sentence.
    """

    protocol: str
    sureness_frac: float
    text: str


def serial_bytes(data: bytes) -> Guess:
    """What a serial line speaks.

    Args:
        data: Some seconds of it, from any point on.
    """
    if not data:
        return Guess("silence", 1.0, "nothing came")
    guesses = (_nmea0183(data), _can_text(data), _modbus(data), _text(data))
    best = max((g for g in guesses if g), key=lambda g: g.sureness_frac, default=None)
    return best or Guess("noise", 0.8, f"{len(data)} bytes make no sense: another bit rate?")


_SENTENCE = re.compile(rb"[$!]([A-Z0-9]{2,10}[^$!*\r\n]{0,100})\*([0-9A-Fa-f]{2})")


def _nmea0183(data: bytes) -> Guess | None:
    """Sentences whose checksum is right. Source: IEC 61162-1, reference values 4.1."""
    kinds: dict[str, int] = {}
    wrong = 0
    for body, told in _SENTENCE.findall(data):
        if reduce(xor, body, 0) == int(told, 16):
            kind = body.split(b",")[0].decode("ascii", "replace")
            kinds[kind] = kinds.get(kind, 0) + 1
        else:
            wrong += 1
    right = sum(kinds.values())
    if right < FEWEST_SENTENCES:
        return None
    names = ", ".join(sorted(kinds, key=lambda k: -kinds[k])[:8])
    spoilt = f", {wrong} with a wrong checksum" if wrong else ""
    sure = min(0.99, 0.9 + 0.02 * right) * right / (right + wrong)
    return Guess("NMEA 0183", sure, f"{right} sentences ({names}){spoilt}")


_CAN_TEXT = re.compile(rb"\r?(?:t[0-7][0-9A-Fa-f]{2}|T[01][0-9A-Fa-f]{7})([0-8])([0-9A-Fa-f]*)\r")


def _can_text(data: bytes) -> Guess | None:
    """Frames as text, as serial CAN adapters send them. Source: reference values 4.6."""
    right = 0
    for length, digits in _CAN_TEXT.findall(data):
        right += len(digits) - 2 * int(length) in (0, 4)  # a time stamp has four digits
    if right < FEWEST_FRAMES:
        return None
    return Guess("CAN over a serial line", 0.97, f"{right} frames as text")


def _modbus(data: bytes) -> Guess | None:
    """Frames whose check sum is right, that touch each other or follow a gap."""
    units: set[int] = set()
    functions: set[int] = set()
    frames = covered = at = 0
    while at < len(data) - 4:
        length = _modbus_length(data, at)
        if length:
            frames, covered = frames + 1, covered + length
            units.add(data[at])
            functions.add(data[at + 1] & 0x7F)
            at += length
        else:
            at += 1
    if frames < FEWEST_FRAMES or covered < 0.5 * len(data):
        return None
    who = ", ".join(str(u) for u in sorted(units)[:6])
    what = ", ".join(str(f) for f in sorted(functions))
    return Guess("Modbus RTU", 0.98, f"{frames} frames (devices {who}; functions {what})")


def _modbus_length(data: bytes, at: int) -> int:
    """Length of the frame that begins here, 0 if none does. Source: reference values 4.5."""
    unit, function = data[at], data[at + 1]
    if not 1 <= unit <= 247:
        return 0
    lengths: tuple[int, ...] = ()
    if function in (1, 2, 3, 4):
        lengths = (8, 5 + data[at + 2])
    elif function in (5, 6):
        lengths = (8,)
    elif function in (15, 16):
        lengths = (8, 9 + data[at + 6]) if at + 6 < len(data) else (8,)
    elif 0x81 <= function <= 0x90:
        lengths = (5,)
    for length in lengths:
        frame = data[at : at + length]
        if len(frame) == length and crc16(frame) == 0:
            return length
    return 0


def crc16(data: bytes) -> int:
    """Modbus' check sum; 0 over a frame with its own check sum at the end.

    Source: reference values 4.5 (polynomial 0xA001 reflected, start 0xFFFF).
    """
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0xA001 if crc & 1 else 0)
    return crc


def _text(data: bytes) -> Guess | None:
    """Lines of text that is none of the above."""
    plain = sum(32 <= b < 127 or b in (9, 10, 13) for b in data)
    lines = [line for line in re.split(rb"[\r\n]+", data) if line.strip()]
    if plain < 0.97 * len(data) or len(lines) < 3:
        return None
    sample = lines[len(lines) // 2].decode("ascii", "replace")[:60]
    return Guess("text lines", 0.7, f"{len(lines)} lines such as {sample!r}")
