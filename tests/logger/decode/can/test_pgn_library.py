"""NMEA 2000: every supported group, random payloads, against the nmea2000 library.

Fields are found in the library's tables by where their bits lie, and never by name, so that one
wrong length or scale here moves a value there.
"""

import math
import random

import pytest

from logger.decode.can.bus import BusDecoder
from logger.decode.can.pgn import PgnDecoder
from logger.decode.can.pgn_table import GROUPS, ParameterGroup
from logger.decode.counters import Counters
from logger.reading import Row
from tests.logger.decode.can.test_pgn import can_id, packets
from tests.support.single_frames import feed_one

backend = pytest.importorskip("nmea2000.backend", reason="nmea2000 is not installed (test extra)")

TRIES = 150
HALF_STEP_DEG = math.degrees(1e-4) / 2 + 1e-9  # a turn is no whole number of the field's steps
# From the library's units to the channels', by definition of the units.
INSIDE = {"rad": (180 / math.pi, 0.0), "K": (1.0, -273.15), "%": (0.01, 0.0), "rpm": (1 / 60, 0.0)}
OWN = sorted(pgn for pgn, group in GROUPS.items() if group.fields and pgn > 2**16)


def told(pgn: int, payload: bytes) -> dict[int, tuple[float | None, str | None]]:
    """The library's numbers and units by their first bit."""
    message = backend.decode(pgn, payload)
    assert message
    (info,) = backend.DATABASE.pgn_variants(pgn)
    places = [field.bit_offset for field in info.fields]
    found = {}
    for place, field in zip(places, message.fields, strict=False):
        found[place] = (field.raw_value, field.unit_of_measurement)
    return found


def here(group: ParameterGroup, payload: bytes) -> dict[str, tuple[str, float | None]]:
    """Channel and value by the field's own name; empty where nothing was kept."""
    bus = BusDecoder([PgnDecoder("bus", Counters("bus"))], Counters("bus"))
    frames = packets(payload) if group.fast else [payload]
    items = [i for frame in frames for i in feed_one(bus, 7, can_id(group.pgn), frame)]
    rows = [item for item in items if isinstance(item, Row)]
    if not rows:
        return {}
    named = zip(rows[0].group.channels, rows[0].values, strict=True)
    return dict(zip((field.name for field in group.fields), named, strict=True))


def random_payload(group: ParameterGroup, rng: random.Random) -> bytes:
    bits = [f.bits for f in group.fields] + [bits for _, bits in group.selectors]
    size = max(max(one.last_byte for one in bits) + 1, 8)
    kinds = (lambda: rng.randrange(256), lambda: 0xFF, lambda: 0x00, lambda: 0x7F)
    return bytes(rng.choices(kinds, (20, 2, 1, 1))[0]() for _ in range(size))


def inside(number: float, unit: str | None) -> float:
    factor, offset = INSIDE.get(unit or "", (1.0, 0.0))
    return number * factor + offset


def beyond(channel: str, value: float) -> bool:
    """Whether it is no angle or share at all: the library then says that there is none."""
    return abs(value) > {"deg": 180.0, "frac": 1.0}[channel.rpartition("_")[2]]


@pytest.mark.parametrize("pgn", OWN)
def test_random_payloads_as_the_library_reads_them(pgn):
    group, rng, seen = GROUPS[pgn], random.Random(pgn), 0
    for _ in range(TRIES):
        payload = random_payload(group, rng)
        theirs = told(pgn, payload)
        for name, (channel, value) in here(group, payload).items():
            if value is None:
                continue
            field = next(field for field in group.fields if field.name == name)
            number, unit = theirs[field.bits.start]
            if number is None:
                assert beyond(channel, value), (payload.hex(), name, value)
                continue
            wanted, off = inside(number, unit), 1e-9
            if channel == "heading_magnetic_deg" and pgn == 127250:
                wanted, off = with_deviation(theirs, wanted), HALF_STEP_DEG
            if (pgn, name) == (127508, "current"):
                wanted = -wanted  # charging counts positive there
            assert value == pytest.approx(wanted, rel=1e-9, abs=off), (payload.hex(), name)
            seen += 1
    assert seen > 5


def with_deviation(theirs: dict[int, tuple[float | None, str | None]], sensor_deg: float) -> float:
    """Magnetic heading of 127250: deviation stands from bit 24 on."""
    deviation_rad = theirs[24][0]
    return (sensor_deg + math.degrees(deviation_rad or 0.0)) % 360
