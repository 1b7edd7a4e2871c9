"""Several recordings on one clock, flat out and paced."""

from pathlib import Path

import numpy as np
import pytest

from logger.boat import Boat
from logger.decode.counters import Counters
from logger.errors import BoatFileError, RecordingError
from logger.reading import (
    Block,
    Group,
    Item,
    Quantum,
    Row,
    UtcFix,
)
from replay.player import Paced, Player, open_recordings, play, split

DBC = (
    'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'
    'BO_ 300 Pack: 2 A\n SG_ Volts : 0|16@1+ (0.01,0) [0|0] "V" A\n'
)


def checked(body: str) -> str:
    total = 0
    for char in body:
        total ^= ord(char)
    return f"${body}*{total:02X}"


class Taker:
    """A writer that only remembers."""

    def __init__(self) -> None:
        self.items: list[Item] = []

    def add(self, item: Item) -> None:
        self.items.append(item)

    def readings(self, channel: str) -> list[tuple[int, float]]:
        found = []
        for item in self.items:
            if isinstance(item, Block) and channel in item.group.channels:
                column = item.group.channels.index(channel)
                found += zip(item.t_us.tolist(), item.values[:, column].tolist(), strict=True)
        return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "pack.dbc").write_text(DBC)
    frames = [
        f"(17000000{k:02d}.500000) can0 12C#{(5000 + k).to_bytes(2, 'little').hex().upper()}"
        for k in range(10, 90)
    ]
    (tmp_path / "bus.log").write_text("\n".join(frames) + "\n")
    lines = []
    for k in range(80):  # 2023-11-14 22:13:20 is 1 700 000 000
        second = 20 + k
        time = f"2213{second:02d}" if second < 60 else f"2214{second - 60:02d}"
        lines.append(checked(f"GPRMC,{time},A,4700.00,N,00800.00,E,{k / 10},90.0,141123,,"))
        lines.append(checked(f"IIMTW,{10 + k / 10:.1f},C"))
    (tmp_path / "gps.nmea").write_text("\r\n".join(lines) + "\r\n")
    return tmp_path


def boat(**options: object) -> Boat:
    return Boat.model_validate(
        {
            "name": "Test boat",
            "hull": {"waterline_m": 7, "beam_waterline_m": 2.2, "draught_m": 1.2,
                     "displacement_kg": 3000},
            "pack": {"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 100},
            "motor": {"rated_power_w": 5000},
            "source": [
                {"name": "bus", "kind": "can", "options": {
                    "channel": "can0", "decode": [{"dbc": "pack.dbc"}],
                    "signals": {"Pack.Volts": {"channel": "pack_voltage_v"}}, **options}},
                {"name": "gps", "kind": "nmea0183", "options": {}},
            ],
        }
    )  # fmt: skip


def test_files_of_different_kinds_lie_on_one_clock(folder: Path):
    taker = Taker()
    source = open_recordings([folder / "bus.log", folder / "gps.nmea"], boat(), folder=folder)
    readings = play(source, taker)
    volts, water = taker.readings("pack_voltage_v"), taker.readings("water_temp_c")
    # The lines begin at 1 700 000 000, the frames 10.5 s later.
    assert volts == [((k + 0.5) * 1e6, (5000 + k) / 100) for k in range(10, 90)]
    assert [v for _, v in water] == [round(10 + k / 10, 1) for k in range(80)]
    assert water[7][0] == 7_000_000
    fix = taker.items[0]
    assert isinstance(fix, UtcFix)
    assert (fix.t_us, fix.utc_us, fix.source) == (0, 1_700_000_000_000_000, "file")
    assert all(i.source == "file" for i in taker.items if isinstance(i, UtcFix))
    assert readings == sum(
        int(np.count_nonzero(~np.isnan(i.values))) for i in taker.items if isinstance(i, Block)
    )


def test_items_come_in_time_order_across_files(folder: Path):
    source = open_recordings([folder / "bus.log", folder / "gps.nmea"], boat(), folder=folder)
    reached = -1
    while (items := source.read()) is not None:
        if items:
            first = min(int(np.min(i.t_us)) for i in items)
            assert first >= reached
            reached = max(reached, max(int(np.max(i.t_us)) for i in items))
    assert reached == 89_500_000


def test_without_a_boat_every_signal_is_kept(folder: Path):
    taker = Taker()
    play(open_recordings([folder / "bus.log"], dbcs=[folder / "pack.dbc"]), taker)
    assert len(taker.readings("other_pack_volts_v")) == 80


def test_an_old_recording_is_not_taken_for_a_rolled_over_receiver(tmp_path: Path):
    """2006-09-16 is 1024 weeks before 2026-05-02; the file's date stays what it is."""
    path = tmp_path / "old.nmea"
    path.write_text(checked("GPRMC,120000,A,4700.00,N,00800.00,E,1.0,90.0,160906,,") + "\n")
    taker = Taker()
    play(open_recordings([path]), taker)
    fixes = [item for item in taker.items if isinstance(item, UtcFix)]
    assert {fix.source for fix in fixes} == {"file"}
    assert {fix.utc_us // 1_000_000 for fix in fixes} == {1158408000}


def test_a_receiver_years_off_the_files_clock_is_left_for_the_log_to_judge(tmp_path: Path):
    line = checked("GPRMC,120000,A,4700.00,N,00800.00,E,1.0,90.0,160906,,")
    path = tmp_path / "new.nmea"
    path.write_text(f"(1777723200.000000) gps {line}\n")
    taker = Taker()
    play(open_recordings([path]), taker)
    assert {item.source for item in taker.items if isinstance(item, UtcFix)} == {"file", "gnss"}


def test_relative_times_begin_where_the_earliest_file_does(folder: Path):
    (folder / "t.csv").write_text("time_s,T\n0,20\n2,21\n")
    (folder / "t.toml").write_text(
        '[time]\ncolumn = "time_s"\n[[column]]\ncolumn = "T"\nchannel = "ambient_temp_c"\n'
    )
    taker = Taker()
    play(open_recordings([folder / "gps.nmea", folder / "t.csv"]), taker)
    assert taker.readings("ambient_temp_c") == [(0, 20.0), (2_000_000, 21.0)]


def test_errors_are_for_people(folder: Path):
    with pytest.raises(BoatFileError, match=r"other\.dbc: wants a DBC file, got No such file"):
        open_recordings([folder / "bus.log"], boat(decode=[{"dbc": "other.dbc"}]), folder=folder)
    with pytest.raises(BoatFileError, match=r'decode: wants \{dbc = "file\.dbc"\}, \{eds'):
        open_recordings([folder / "bus.log"], boat(decode=["klingon"]), folder=folder)
    (folder / "t.csv").write_text("a,b\n1,2\n3,4\n")
    with pytest.raises(RecordingError, match=r"needs a column map; give one with --map, or .*toml"):
        open_recordings([folder / "t.csv"])


def shunt_and_charger() -> Boat:
    """A boat with a source of text and one of Modbus."""
    table = boat().model_dump()
    table["source"] = [
        {"name": "shunt", "kind": "text", "options": {
            "pattern": "V=(?P<v>.*)", "signals": {"v": {"channel": "pack_voltage_v"}}}},
        {"name": "charger", "kind": "modbus", "options": {"port": "x", "register": [
            {"address": 16, "channel": "solar_power_w", "unit": "W", "device": 7}]}},
    ]  # fmt: skip
    return Boat.model_validate(table)


def test_raw_copies_of_text_and_modbus_sources_replay(tmp_path: Path):
    """As the sources write them while they run (see logger/sources/raw_copy.py)."""
    (tmp_path / "a.log").write_text("(1700000000.000000) shunt V=51.5\n")
    (tmp_path / "b.log").write_text(
        "(1700000002.500000) charger 7 3 16: 00FA\n(1700000003.500000) charger 7 3 16: zz\n"
    )
    taker = Taker()
    files = [tmp_path / "a.log", tmp_path / "b.log"]
    play(open_recordings(files, shunt_and_charger()), taker)
    assert taker.readings("pack_voltage_v") == [(0, 51.5)]
    assert taker.readings("solar_power_w") == [(2_500_000, 250.0)]
    with pytest.raises(RecordingError, match="needs the boat file"):
        open_recordings(files)


def test_raw_copies_torn_anywhere_give_no_wrong_value(tmp_path: Path):
    whole = b"(1700000000.000000) shunt V=51.5\n(1700000002.500000) charger 7 3 16: 00FA\n"
    whole += b"(1700000003.000000) charger 7 3 16: 01FA\n(1700000004.000000) shunt V=51.25\n"
    path = tmp_path / "a.log"
    for end in range(40, len(whole) + 1):
        path.write_bytes(whole[:end])
        taker = Taker()
        play(open_recordings([path], shunt_and_charger()), taker)
        volts = [v for _, v in taker.readings("pack_voltage_v")]
        watts = [v for _, v in taker.readings("solar_power_w")]
        assert volts == [51.5, 51.25][: len(volts)]
        assert watts == [250.0, 506.0][: len(watts)]
        assert len(volts) + len(watts) == whole[:end].count(b"\n")


def test_progress_ends_at_one(folder: Path):
    seen: list[float] = []
    play(open_recordings([folder / "gps.nmea"]), Taker(), progress=seen.append)
    assert seen[-1] == 1.0
    assert seen == sorted(seen)


class Minutes:
    """One reading a second for a minute, in one block."""

    name = "x"

    def __init__(self) -> None:
        group = Group("x", ("pack_voltage_v",), (Quantum(0.01),))
        self._items: list[Item] | None = [
            Block(group, np.arange(60) * 1_000_000, np.full((60, 1), 51.0))
        ]

    def read(self, timeout_s: float) -> list[Item] | None:
        items, self._items = self._items, None
        return items

    def close(self) -> None:
        pass


def test_paced_gives_each_reading_in_its_time():
    now = [100.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    paced = Paced(Minutes(), 10.0, lambda: now[0], sleep)
    arrivals: list[float] = []
    while (items := paced.read(0.5)) is not None:
        for item in items:
            assert isinstance(item, Block)
            arrivals += [now[0] - 100.0] * len(item.t_us)
    due = [k / 10 for k in range(60)]
    assert all(-1e-6 <= got - want <= 0.11 for got, want in zip(arrivals, due, strict=True))


def test_paced_returns_in_time_when_nothing_is_due():
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    paced = Paced(Minutes(), 0.01, lambda: now[0], sleep)
    paced.read(0.2)
    before = now[0]
    assert paced.read(0.2) == []
    assert now[0] - before <= 0.2 + 1e-9


def test_split_cuts_blocks_and_keeps_rows():
    group = Group("x", ("pack_voltage_v",), (Quantum(0.01),))
    block = Block(group, np.array([1, 2, 3]), np.zeros((3, 1)))
    before, after = split([block, Row(group, 2, [1.0]), Row(group, 5, [1.0])], 2)
    assert [np.ravel(item.t_us).tolist() for item in before] == [[1, 2], [2]]
    assert len(after) == 2


def test_player_of_empty_file_ends(tmp_path: Path):
    path = tmp_path / "x.log"
    path.write_text("(1600000000.000001) can0 ERROR\n")
    player = open_recordings([path])
    assert isinstance(player, Player)
    while player.read() is not None:
        pass
    assert isinstance(player.counters["x.log"], Counters)
