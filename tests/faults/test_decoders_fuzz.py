"""Arbitrary frames, lines and registers into every decoder, in numbers.

KEELWATT_FULL=1 feeds a million of each. No exception may escape, no value beyond its channel's
plausible limits may come out, and what the decoders remember stays bounded.
"""

import os
import random
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from logger.channels import find
from logger.decode.can.bus import BusDecoder
from logger.decode.can.canopen_node import CanopenDecoder
from logger.decode.can.dbc import DbcChoices, DbcDecoder
from logger.decode.can.frames import EXTENDED, FrameBatch
from logger.decode.can.j1939_transport import CONNECTION, DATA
from logger.decode.can.pgn import PgnDecoder
from logger.decode.can.pgn_table import GROUPS
from logger.decode.counters import Counters
from logger.decode.nmea.sentence_fields import KINDS
from logger.decode.nmea.sentences import SentenceDecoder
from logger.decode.registers import TYPES, ReadPlan, read_register
from logger.reading import (
    Block,
    Group,
    Item,
    Row,
)
from logger.sources.frame_readers import SlcanReader
from logger.sources.options import Options
from logger.sources.recordings.candump import parse_lines
from logger.sources.recordings.candump_line import LineReader
from logger.sources.text_lines import decoder_from

COUNT = 1_000_000 if os.environ.get("KEELWATT_FULL") else 15_000


@lru_cache(maxsize=10_000)
def limits(name: str) -> tuple[float, float]:
    channel = find(name)
    assert channel, name
    return channel.low, channel.high


class Judge:
    """Looks at all that decoders give."""

    def __init__(self) -> None:
        self.values = 0
        self.groups: set[str] = set()

    def see(self, items: Iterable[Item]) -> None:
        for item in items:
            if isinstance(item, Row):
                self._see(item.group, np.array([list(item.values)], float))
            elif isinstance(item, Block):
                self._see(item.group, item.values)

    def _see(
        self, group: Group, values: "np.ndarray[tuple[int, int], np.dtype[np.float64]]"
    ) -> None:
        self.groups.add(group.key)
        for column, name in enumerate(group.channels):
            there = values[:, column][~np.isnan(values[:, column])]
            low, high = limits(name)
            assert np.all((there >= low) & (there <= high)), name
            self.values += len(there)


def random_batches(
    ids: "np.ndarray[tuple[int], np.dtype[np.uint32]] | None",
) -> Iterator[FrameBatch]:
    """Frames of any length and content; `ids` None: any identifier too."""
    rng = np.random.default_rng(11)
    for start in range(0, COUNT, 5000):
        n = min(5000, COUNT - start)
        if ids is None:
            chosen = rng.integers(0, 1 << 29, n, dtype=np.uint32) | np.uint32(EXTENDED)
        else:
            chosen = rng.choice(ids, n)
        lengths = rng.choice(np.array([8, 8, 8, 8, *range(9)], np.uint8), n)
        data = rng.integers(0, 256, (n, 8), dtype=np.uint8)
        # Often all ones, or a small number, as real fields are.
        data[rng.random((n, 8)) < 0.2] = 255
        data[rng.random((n, 8)) < 0.2] = 0
        data[np.arange(8) >= lengths[:, None]] = 0
        t_us = start + np.arange(n)
        yield FrameBatch(t_us, chosen, lengths, data, np.zeros(n, np.uint16), ("bus",))


def pgn_ids() -> "np.ndarray[tuple[int], np.dtype[np.uint32]]":
    return np.array([EXTENDED | 2 << 26 | pgn << 8 | sa for pgn in GROUPS for sa in range(3)],
                    np.uint32)  # fmt: skip


@pytest.mark.parametrize("known", [True, False])
def test_nmea_2000_frames(known: bool):
    judge, counters = Judge(), Counters("bus")
    bus = BusDecoder([PgnDecoder("bus", counters)], counters)
    for number, batch in enumerate(random_batches(pgn_ids() if known else None)):
        judge.see(bus.feed(batch) if number % 2 else bus.feed_live(batch))
    assert counters["frames"] == COUNT
    assert len(judge.groups) <= 2000
    assert judge.values > (COUNT / 4 if known else -1)


DBC = """VERSION ""
NS_ :
BS_:
BU_: A
BO_ 256 Pack: 8 A
 SG_ Volts : 0|16@1+ (0.1,0) [0|0] "V" A
 SG_ Amps : 23|16@0- (0.5,-100) [0|0] "A" A
 SG_ Real : 32|32@1- (1,0) [0|0] "degC" A
BO_ 257 Cells: 8 A
 SG_ Which M : 0|4@1+ (1,0) [0|0] "" A
 SG_ One m1 : 8|13@1+ (0.001,0) [0|0] "V" A
 SG_ Two m2 : 9|33@1- (0.001,0) [0|0] "V" A
BO_ 2566844926 Long: 30 A
 SG_ Far : 200|24@1- (0.01,0) [0|0] "degC" A
SIG_VALTYPE_ 256 Real : 1;
"""
SIGNALS = {
    "Pack.Volts": "pack_voltage_v",
    "Pack.Amps": {"channel": "pack_current_a", "sign": -1},
    "Pack.Real": "motor_temp_c",
    "Cells.One": "cell_01_voltage_v",
    "Cells.Two": "cell_02_voltage_v",
    "Long.Far": "controller_temp_c",
}


@pytest.mark.parametrize("mapped", [True, False])
def test_dbc_and_j1939_frames(tmp_path: Path, mapped: bool):
    (tmp_path / "x.dbc").write_text(DBC)
    judge, counters = Judge(), Counters("bus")
    found = DbcDecoder(
        tmp_path / "x.dbc", "bus", counters, SIGNALS if mapped else None, DbcChoices(j1939=True)
    )
    bus = BusDecoder([found], counters)
    pgns = [EXTENDED | 6 << 26 | pgn << 8 | 0xFF00 | 1 for pgn in (CONNECTION, DATA)]
    ids = np.array([256, 257, 2566844926, *pgns], np.uint32)
    for number, batch in enumerate(random_batches(ids)):
        judge.see(bus.feed(batch) if number % 2 else bus.feed_live(batch))
    assert judge.values > COUNT / 20
    assert counters["out_of_limits"] > 0


EDS = """[FileInfo]
FileName=x.eds

[DeviceInfo]
VendorName=Invented
"""


def eds_text() -> str:
    """An invented node: five mapped objects of different kinds, in one process data object."""
    kinds = ((0x606C, 4), (0x6079, 7), (0x2010, 3), (0x2011, 8))  # CiA 301: i32, u32, i16, f32
    text = EDS
    for index, kind in kinds:
        text += f"[{index:04X}]\nParameterName=P{index:04X}\nObjectType=0x7\n"
        text += f"DataType={kind:#x}\nAccessType=rw\nPDOMapping=1\n\n"
    for place, mapped in ((0, (0x606C0020, 0x60790020)), (1, (0x20100010, 0x20110020))):
        subs = {0x1800 + place: [2, f"$NODEID+{0x180 + 0x100 * place:#x}"],
                0x1A00 + place: [2, *(f"{m:#x}" for m in mapped)]}  # fmt: skip
        for index, entries in subs.items():
            text += f"[{index:04X}]\nParameterName=P{index:04X}\nObjectType=0x9\n"
            text += f"SubNumber={len(entries)}\n\n"
            for sub, value in enumerate(entries):
                text += f"[{index:04X}sub{sub}]\nParameterName=S{sub}\nObjectType=0x7\n"
                text += f"DataType={5 if sub == 0 else 7:#x}\nAccessType=rw\n"
                text += f"DefaultValue={value}\nPDOMapping=0\n\n"
    return text


def test_canopen_frames(tmp_path: Path):
    (tmp_path / "x.eds").write_text(eds_text())
    judge, counters = Judge(), Counters("bus")
    signals = {
        "0x606C": {"channel": "motor_speed_rps", "unit": "rpm"},
        "0x6079": {"channel": "controller_voltage_v", "unit": "mV"},
        "0x2010": {"channel": "controller_temp_c", "unit": "degC", "scale": 0.1},
        "0x2011": {"channel": "pack_current_a", "unit": "A"},
    }
    node = CanopenDecoder(tmp_path / "x.eds", 5, "bus", counters, signals)
    bus = BusDecoder([node], counters)
    ids = np.array([0x085, 0x185, 0x285, 0x585, 0x605, 0x705], np.uint32)
    for number, batch in enumerate(random_batches(ids)):
        judge.see(bus.feed(batch) if number % 2 else bus.feed_live(batch))
    assert counters["frames"] == COUNT
    assert judge.groups >= {"bus/085", "bus/185", "bus/285", "bus/705"}
    assert judge.values > COUNT / 10
    assert counters["out_of_limits"] > 0
    assert counters["sdo_other"] + counters["length"] > 0


def random_lines(words: list[str]) -> Iterator[str]:
    rng = random.Random(13)
    pieces = [*words, "", "-", "1e999", "nan", "9999999999", "0", "-1", "12.5", "4916.45"]
    for _ in range(COUNT):
        yield ",".join(rng.choice(pieces) for _ in range(rng.randrange(1, 14)))


def test_nmea_0183_lines():
    judge, counters = Judge(), Counters("gps")
    decoder = SentenceDecoder("gps", counters)
    heads = [f"GP{kind}" for kind in (*KINDS, "XDR", "ZDA")]
    rng = random.Random(17)
    for number, line in enumerate(random_lines([*"AVNSEWRTCMKLF", "225446", "191194"])):
        body = f"{rng.choice(heads)},{line}"
        total = 0
        for char in body:
            total ^= ord(char)
        judge.see(decoder.feed(f"${body}*{total:02X}", number))
    assert judge.values > COUNT / 50
    assert len(judge.groups) <= 300


def test_text_lines():
    judge, counters = Judge(), Counters("text")
    signals = {"a": {"channel": "pack_voltage_v"}, "b": {"channel": "pack_current_a"}}
    table = {"columns": ["a", "", "b"], "signals": signals}
    decoder = decoder_from(Options("text", table, Path()), counters)
    for number, line in enumerate(random_lines(["51.2", "-10"])):
        judge.see(decoder.feed(line, number))
    assert judge.values > 100


def test_registers():
    judge, rng = Judge(), np.random.default_rng(19)
    kinds = [kind for kind in TYPES if kind != "bit"]
    targets = [("pack_voltage_v", "V"), ("motor_temp_c", "degC"), ("pack_current_a", "A")]
    registers, address = [], 0
    for number, kind in enumerate(kinds):
        channel, unit = targets[number] if number < 3 else (f"other_{number}_v", "V")
        entry = {"address": address, "type": kind, "channel": channel, "unit": unit,
                 "scale": 0.01}  # fmt: skip
        registers.append(read_register(Options("x", entry, Path())))
        address += registers[-1].words
    one = ReadPlan("x", registers, Counters("x"))
    for number in range(COUNT // 10):
        values = one.values(rng.integers(0, 65536, one.count).tolist())
        judge.see([Row(one.group, number, values)] if values else [])
    assert judge.values > COUNT / 10


class Chunks:
    """Random bytes as a port gives them."""

    def __init__(self) -> None:
        self._rng = random.Random(23)

    def read(self, timeout_s: float) -> bytes:
        alphabet = b"tTrR0123456789ABCDEF\r\r\a\x00\xff"
        return bytes(self._rng.choices(alphabet, k=2000)) + b"\rt1232AABB\r"

    def close(self) -> None:
        pass


def test_slcan_characters():
    reader, seen, frames = SlcanReader(Chunks(), "x", Counters("x")), 0, 0
    while seen < COUNT:
        batch = reader.read(0.001)
        seen += 2000
        frames += len(batch) if batch else 0
    assert frames > 0


def random_log_line(rng: random.Random) -> str:
    kind = rng.randrange(3)
    if kind == 0:
        time = f"({rng.randrange(10**10):010d}.{rng.randrange(10**6):06d})"
        number = (
            f"{rng.randrange(2**30):08X}" if rng.random() < 0.5 else f"{rng.randrange(4096):03X}"
        )
        return f"{time} can0 {number}#{rng.randbytes(rng.randrange(9)).hex()}\n"
    if kind == 1:
        return "".join(rng.choices("()0123456789.ABCDEF# canR", k=30)) + "\n"
    return f"(1600000000.000001) can0 123#{rng.randbytes(3).hex()[:5]}\n"


def test_candump_text():
    rng, frames = random.Random(29), 0
    for _ in range(0, COUNT, 1000):
        text = "".join(random_log_line(rng) for _ in range(1000))
        batch = parse_lines(text.encode(), LineReader(Counters("x")))
        frames += len(batch) if batch else 0
    assert frames > COUNT / 10
