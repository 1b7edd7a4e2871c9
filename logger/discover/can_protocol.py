"""What a CAN bus speaks, told from its frames: NMEA 2000, J1939, CANopen, or a maker's own.

Several may share one bus. Only listens.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from logger.decode.can.frames import EXTENDED
from logger.decode.can.pgn_id import split
from logger.discover.serial_protocol import Guess

CanFrame = tuple[int, bytes]  # identifier, with EXTENDED for 29 bits; data

# Groups of network management that both standards share.
SHARED_PGNS = {59392, 59904, 60160, 60416, 60928, 61184, 65240}
HEARTBEAT_STATES = {0x00, 0x04, 0x05, 0x7F}
SDO_REQUESTS = {0x20, 0x40, 0x60, 0x80, 0xA0, 0xC0, 0x00}  # command specifiers, upper 3 bits


def can_frames(frames: Iterable[CanFrame]) -> tuple[Guess, ...]:
    """What a bus speaks, the commonest first.

    Args:
        frames: Some seconds of it, in order.
    """
    seen = list(frames)
    if not seen:
        return (Guess("silence", 1.0, "nothing came: is the bus up, at the right bit rate?"),)
    long = [f for f in seen if f[0] & EXTENDED]
    short = [f for f in seen if not f[0] & EXTENDED]
    shares = [(guess, len(long)) for guess in _long(long)]
    shares += [(guess, len(short)) for guess in _short(short)]
    shares.sort(key=lambda s: (-s[0].sureness_frac, -s[1]))
    return tuple(guess for guess, _ in shares)


def _long(frames: Sequence[CanFrame]) -> list[Guess]:
    """29-bit identifiers: which parameter groups, and whose."""
    marine: Counter[int] = Counter()
    vehicle: Counter[int] = Counter()
    unclear: Counter[int] = Counter()
    for can_id, data in frames:
        pgn = split(can_id).pgn
        if pgn in SHARED_PGNS or not (can_id >> 16) & 0xFF >= 0xEA:
            unclear[pgn] += 1
        elif 126208 <= pgn <= 131071 and _fast_fits(pgn, data):
            marine[pgn] += 1
        elif 61440 <= pgn <= 65279:
            vehicle[pgn] += 1
        else:
            unclear[pgn] += 1
    total = len(frames)
    guesses = []
    for protocol, pgns in (("NMEA 2000", marine), ("J1939", vehicle)):
        count = sum(pgns.values())
        if count >= 3 and count >= 0.05 * total:
            listed = ", ".join(str(p) for p, _ in pgns.most_common(8))
            sure = min(0.98, 0.6 + 0.1 * len(pgns) + 0.01 * count)
            guesses.append(Guess(protocol, sure, f"{count} frames (groups {listed})"))
    if total and not guesses:
        guesses.append(_own(frames, "29-bit"))
    return guesses


def _fast_fits(pgn: int, data: bytes) -> bool:
    """Groups of NMEA 2000 come in frames of eight bytes, but for requests and commands."""
    return len(data) == 8 or pgn == 126208


def _short(frames: Sequence[CanFrame]) -> list[Guess]:
    """11-bit identifiers: CANopen shows by its heartbeats, its events and its replies."""
    if not frames:
        return []
    beats, answers, events, others = _canopen_signs(frames)
    nodes = sorted(set(beats) | set(answers))
    sure = 0.0
    if any(count >= 2 for count in beats.values()):
        sure = 0.95
    elif beats or len(answers) >= 1:
        sure = 0.75
    elif events >= 2:
        sure = 0.5
    explained = 0
    for can_id, _ in frames:
        explained += (can_id & 0x7F) in nodes or can_id in (0, 0x80)
    if not sure or explained < 0.3 * len(frames):
        return [_own(frames, "11-bit")]
    who = ", ".join(str(n) for n in nodes[:8]) or "not named"
    text = f"{sum(beats.values())} heartbeats, {len(frames) - others} frames (nodes {who})"
    return [Guess("CANopen", sure, text)]


def _canopen_signs(
    frames: Sequence[CanFrame],
) -> tuple[Counter[int], Counter[int], int, int]:
    """Heartbeats by node, replies to questions by node, emergency messages, unexplained frames.

    Source: CiA 301's predefined identifiers, reference values 4.4.
    """
    beats: Counter[int] = Counter()
    asked: defaultdict[int, set[bytes]] = defaultdict(set)
    answers: Counter[int] = Counter()
    events = others = 0
    for can_id, data in frames:
        kind = can_id & 0x780
        node = can_id & 0x7F
        if kind == 0x700 and node and len(data) == 1 and data[0] & 0x7F in HEARTBEAT_STATES:
            beats[node] += 1
        elif kind == 0x600 and node and len(data) == 8 and data[0] & 0xE0 in SDO_REQUESTS:
            asked[node].add(data[1:4])
        elif kind == 0x580 and node and len(data) == 8 and data[1:4] in asked[node]:
            answers[node] += 1
        elif kind == 0x080 and node and len(data) == 8 and data[2] & 0x40 == 0:
            events += 1
        elif not (0x180 <= can_id <= 0x57F or can_id in (0, 0x80, 0x100)):
            others += 1
    return beats, answers, events, others


def _own(frames: Sequence[CanFrame], bits: str) -> Guess:
    ids = Counter(can_id & 0x1FFFFFFF for can_id, _ in frames)
    listed = ", ".join(f"{can_id:X}" for can_id, _ in ids.most_common(8))
    text = f"{len(frames)} {bits} frames of {len(ids)} identifiers ({listed}): ask for its DBC file"
    return Guess("CAN of a maker's own", 0.7, text)
