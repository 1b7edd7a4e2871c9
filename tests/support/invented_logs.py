"""Logs of all kinds, by hypothesis, and how two logs are compared."""

from dataclasses import dataclass, field

import numpy as np
from hypothesis import strategies as st

from logger.reading import (
    EXACT,
    Block,
    Group,
    Quantum,
    UtcFix,
)
from logger.store import FlagRecord, Store, TripRecord
from tests.support.flag_records import flag_record

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
HOUR_US = 3_600_000_000

# Names with their unit, limits that values stay within, and steps that sensors have.
CHANNELS = {
    "pack_voltage_v": (0.0, 100.0, Quantum(0.001)),
    "pack_current_a": (-300.0, 300.0, EXACT),
    "pack_temp_c": (-20.0, 60.0, Quantum(0.1, -40.0)),
    "speed_ground_mps": (0.0, 20.0, Quantum(1 / 512)),
    "latitude_deg": (-90.0, 90.0, EXACT),
    "longitude_deg": (-180.0, 179.9, Quantum(1e-7)),
    "other_bilge_v": (0.0, 30.0, EXACT),
}
GROUPS = (
    ("pack_voltage_v", "pack_current_a"),
    ("pack_temp_c",),
    ("latitude_deg", "longitude_deg", "speed_ground_mps"),
    ("other_bilge_v", "pack_temp_c"),  # a channel that comes from two places
)


@dataclass
class Part:
    """Readings of one group in one boot."""

    channels: tuple[str, ...]
    t_us: list[int]
    values: list[list[float]]


@dataclass
class Life:
    """One boot: when it began in UTC (None: never known), and what came."""

    utc_us: int | None
    source: str = "gnss"
    parts: list[Part] = field(default_factory=list)


@dataclass
class Invented:
    """A whole log."""

    boots: list[Life]
    flags: list[FlagRecord]
    trips: list[TripRecord]
    time_step_us: int


@st.composite
def _part(draw):
    channels = draw(st.sampled_from(GROUPS))
    times = draw(st.lists(st.integers(0, 6 * HOUR_US // 1000), min_size=1, max_size=12))
    row = st.tuples(
        *(st.one_of(st.floats(*CHANNELS[c][:2], width=64), st.just(float("nan"))) for c in channels)
    )
    values = [list(draw(row)) for _ in times]
    return Part(channels, [1000 * t for t in sorted(times)], values)


@st.composite
def logs(draw):
    """Logs with gaps, readings of one time, boots without a date, flags and trips."""
    boots = []
    for k in range(draw(st.integers(1, 3))):
        dated = draw(st.booleans())
        parts = draw(st.lists(_part(), min_size=1, max_size=3))
        source = draw(st.sampled_from(["gnss", "ntp", "file"]))
        utc_us = START_US + k * 12 * HOUR_US + draw(st.integers(0, 999_999)) if dated else None
        boots.append(Life(utc_us, source, parts))
    text = st.text(st.characters(blacklist_categories=["Cs"]), max_size=20)
    flags = [
        flag_record(
            subject=draw(text),
            kind="lug_heating",
            title=draw(text),
            raised_us=START_US,
            seen_us=draw(st.one_of(st.none(), st.just(START_US + 5))),
            channels=("a", "b"),
        )
        for _ in range(draw(st.integers(0, 2)))
    ]
    trips = [
        TripRecord(n + 1, START_US + n, START_US + n + 1, {"a": draw(text), "b": None})
        for n in range(draw(st.integers(0, 2)))
    ]
    return Invented(boots, flags, trips, draw(st.sampled_from([1000, 1])))


def write_log(invented: Invented, path) -> Store:
    """The log on disk, open for writing."""
    store = Store.open(path, write=True)
    store.save_boat('name = "invented"\n', START_US)
    for k, boot in enumerate(invented.boots):
        with store.writer(f"boot-{k}", time_step_us=invented.time_step_us) as writer:
            if boot.utc_us is not None:
                writer.add(UtcFix(0, boot.utc_us, boot.source, 0.5))
            for n, part in enumerate(boot.parts):
                quanta = tuple(CHANNELS[c][2] for c in part.channels)
                group = Group(f"g{n}/{'+'.join(part.channels)}", part.channels, quanta)
                writer.add(Block(group, np.array(part.t_us), np.array(part.values)))
    for flag in invented.flags:
        store.add_flag(flag)
    store.put_trips(invented.trips)
    store.put_learned("hull", {"x": [1, 2.5, None]}, START_US, START_US + 9)
    return store


def readings(store: Store, channels=None) -> dict[tuple[str, str], list[tuple[int, float]]]:
    """Every reading on its boot's clock, by boot and channel."""
    found = {}
    for boot in store.boots():
        for name in sorted(channels or store.channels()):
            t_us, values = store.read(name, -(2**61), 2**61, boot.number)
            if len(t_us):
                pairs = zip((t_us - boot.timeline_offset_us).tolist(), values.tolist(), strict=True)
                found[boot.uid, name] = list(pairs)
    return found


def dates(store: Store) -> dict[str, int | None]:
    """UTC less the boot's clock, of the boots that have readings."""
    return {b.uid: b.utc_offset_us for b in store.boots() if b.first_us is not None}
