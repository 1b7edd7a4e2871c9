"""Tidal harmonics, against NOAA's tables of currents and against another program's arguments."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from analyzer.environment import tide
from analyzer.environment.stream_table import StreamTable, parse_utc, read_stream_table
from analyzer.environment.tide_constants import parse_constants
from analyzer.errors import BadRoute
from logger.units import DAY_S, HOUR_S, KN

TIDES = Path(__file__).with_name("tides")
STATIONS = ("PUG1701", "PUG1702", "PUG1703", "PUG1717", "PUG1741")
# Node factor and V + u in degrees by UTide 0.4.0 (a public library, which takes each constituent's
# satellites one by one instead of Schureman's formulas), at 50 degrees north.
UTIDE = {
    "1990-03-01T06:00Z": {
        "M2": (0.9746, 74.57), "S2": (1.0017, 179.91), "N2": (0.9773, 85.43),
        "K1": (1.0872, 164.36), "O1": (1.1403, 267.66), "P1": (0.9923, 21.55),
        "K2": (1.2250, 149.19), "L2": (1.0917, 226.03), "M4": (0.9498, 149.15),
        "MS4": (0.9763, 254.48), "MK3": (1.0596, 238.94), "M3": (0.9607, 292.04),
    },
    "2015-11-20T17:30Z": {
        "M2": (1.0383, 302.07), "S2": (0.9979, 165.00), "N2": (1.0343, 321.17),
        "K1": (0.8812, 231.46), "O1": (0.8002, 70.99), "P1": (1.0112, 293.06),
        "K2": (0.7467, 282.81), "L2": (0.8856, 99.94), "M4": (1.0781, 244.13),
        "MS4": (1.0362, 107.06), "MK3": (0.9150, 173.53), "M3": (1.0564, 273.27),
    },
    "2026-06-02T11:21Z": {
        "M2": (0.9671, 289.32), "S2": (1.0021, 340.45), "N2": (0.9696, 90.47),
        "K1": (1.1040, 334.60), "O1": (1.1733, 313.28), "P1": (0.9921, 9.53),
        "K2": (1.2813, 129.57), "L2": (1.3194, 304.16), "M4": (0.9354, 218.65),
        "MS4": (0.9692, 269.77), "MK3": (1.0677, 263.92), "M3": (0.9496, 74.06),
    },
}  # fmt: skip
# Speeds in degrees an hour: Schureman, table 2, as NOAA prints them beside its constants.
SPEEDS = {
    "M2": 28.9841042, "S2": 30.0, "N2": 28.4397295, "K1": 15.0410686, "O1": 13.9430356,
    "P1": 14.9589314, "K2": 30.0821373, "Q1": 13.3986609, "NU2": 28.5125831, "MU2": 27.9682084,
    "2N2": 27.8953548, "LAM2": 29.4556253, "L2": 29.5284789, "T2": 29.9589333, "R2": 30.0410667,
    "M1": 14.4966939, "J1": 15.5854433, "OO1": 16.1391017, "2Q1": 12.8542862, "RHO": 13.4715145,
    "MM": 0.5443747, "MF": 1.0980331, "SSA": 0.0821373, "SA": 0.0410686, "MSF": 1.0158958,
    "M3": 43.4761563, "M4": 57.9682084, "M6": 86.9523127, "M8": 115.9364169, "S4": 60.0,
    "S6": 90.0, "MN4": 57.4238337, "MS4": 58.9841042, "MK3": 44.0251729, "2MK3": 42.9271398,
    "2SM2": 31.0158958, "S1": 15.0,
}  # fmt: skip
HEAD = 'speeds = "kn"\ntoward_deg = 0\n'


@dataclass(frozen=True)
class Turn:
    """A slack or a greatest stream of a published table. speed_kn: 0 at slack."""

    t_s: float
    speed_kn: float


def published(station: str) -> list[Turn]:
    lines = (TIDES / f"{station}.csv").read_text().splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [Turn(parse_utc(row["utc"]), float(row["speed_kn"])) for row in rows]


def along_kn(station: str, t_s: np.ndarray) -> np.ndarray:
    """The stream along its own direction by the constants' table of times. [kn]"""
    path = TIDES / f"{station}.toml"
    known = parse_constants(path.read_text(), path)
    east, north = read_stream_table(path, float(t_s[0])).at(t_s)
    toward = np.radians(known.toward_deg)
    return (east * np.sin(toward) + north * np.cos(toward)) / KN


@pytest.mark.parametrize("station", STATIONS)
def test_harmonic_constants_give_the_published_table(station):
    # within 10 minutes and 0.1 kn of every slack and every greatest stream of three days
    turns = published(station)
    t_s = np.arange(turns[0].t_s - 4 * HOUR_S, turns[-1].t_s + 4 * HOUR_S, 30.0)
    speed = along_kn(station, t_s)
    slack_s = t_s[1:][np.diff(np.sign(speed)) != 0]
    turn_at = 1 + np.flatnonzero(np.diff(np.sign(np.diff(speed))) != 0)
    assert len(turns) >= 17
    for turn in turns:
        if turn.speed_kn == 0:
            assert np.abs(slack_s - turn.t_s).min() <= 600
            continue
        nearest = turn_at[np.argmin(np.abs(t_s[turn_at] - turn.t_s))]
        assert abs(t_s[nearest] - turn.t_s) <= 600
        assert speed[nearest] == pytest.approx(turn.speed_kn, abs=0.1)


@pytest.mark.parametrize("when", UTIDE)
def test_arguments_are_those_of_another_program(when):
    at = tide.Orbit.at(np.array([parse_utc(when)]))
    for name, (factor, angle_deg) in UTIDE[when].items():
        own, angle = tide.argument(name, at)
        off_deg = (np.degrees(angle[0]) - angle_deg + 180) % 360 - 180
        assert own[0] == pytest.approx(factor, abs=0.013), name
        assert abs(off_deg) < 0.4, name


def test_speeds_are_schuremans():
    assert set(SPEEDS) == set(tide.NAMES)
    for name, speed in SPEEDS.items():
        assert tide.degrees_per_hour(name) == pytest.approx(speed, abs=2e-6), name


@pytest.mark.parametrize("name", tide.BASIC)
def test_arguments_turn_as_fast_as_they_say(name):
    # over two turns of the moon's node (37.2 years) what the node does to an angle is gone
    t_s = parse_utc("2000-01-01") + np.arange(0.0, 37.22 * 365.25 * DAY_S, 5 * HOUR_S)
    _, angle = tide.argument(name, tide.Orbit.at(t_s))
    turned = np.degrees(np.unwrap(angle)[-1] - angle[0]) / ((t_s[-1] - t_s[0]) / HOUR_S)
    assert turned == pytest.approx(tide.degrees_per_hour(name), abs=1e-3)


def constants(lines: str) -> StreamTable:
    t_s = parse_utc("2026-06-01") + np.arange(0.0, 2 * DAY_S, 60.0)
    return StreamTable(t_s, *parse_constants(HEAD + lines, Path("x.toml")).at(t_s))


def test_an_ellipse_turns_anticlockwise_round_its_half_axes():
    table = constants("[constituents]\nS2 = { amplitude = 2, phase_deg = 90, minor = 1 }\n")
    speed = np.hypot(table.east_mps, table.north_mps) / KN
    angle = np.unwrap(np.arctan2(table.north_mps, table.east_mps))
    assert (speed.max(), speed.min()) == pytest.approx((2.0, 1.0), abs=1e-3)
    assert np.all(np.diff(angle) > 0)
    # S2 is greatest 90 degrees, three hours, after noon and midnight UTC: by definition
    north = table.north_mps
    assert (table.t_s[np.argmax(north[:720])] - table.t_s[0]) / HOUR_S == pytest.approx(3, abs=0.02)


def test_lags_of_zone_time_and_of_the_own_meridian_are_turned_to_greenwich():
    greenwich = constants("[constituents]\nM2 = { amplitude = 2, phase_deg = 100 }\n")
    # an hour east: 28.984 degrees more of lag for M2 (its speed); 10 degrees west: twice 10 less
    zone = constants('phases = "zone"\nzone_h = 1\n[constituents]\n'
                     "M2 = { amplitude = 2, phase_deg = 128.9841 }\n")  # fmt: skip
    own = constants('phases = "local"\nlongitude_deg = -10\n[constituents]\n'
                    "M2 = { amplitude = 2, phase_deg = 80 }\n")  # fmt: skip
    for other in (zone, own):
        assert other.north_mps == pytest.approx(greenwich.north_mps, abs=1e-5)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "[constituents]\nM2 = { amplitude = 1 }\n",
            "phase_deg is missing",
        ),
        ("[constituents]\nM2 = { amplitude = 1, phase_deg = 999 }\n", "it should be .* got 999"),
        (
            "[constituents]\nM2 = { amplitude = 1, phase = 9, phase_deg = 9 }\n",
            "M2.phase is no key",
        ),
        ("[constituents]\nX2 = { amplitude = 1, phase_deg = 1 }\n", "no constituent X2"),
        ("[constituents]\nM2 = { amplitude = 99, phase_deg = 1 }\n", "unit of speed"),
        ('phases = "zone"\n[constituents]\nM2 = { amplitude = 1, phase_deg = 1 }\n', "zone_h"),
        ("[constituents]\nM2 = \n", "TOML"),
    ],
)
def test_a_file_of_constants_says_what_is_wrong(text, says, tmp_path):
    path = tmp_path / "tide.toml"
    path.write_text(HEAD + text)
    with pytest.raises(BadRoute, match=says):
        read_stream_table(path, parse_utc("2026-06-01"))


def test_a_log_without_a_date_has_no_tide():
    with pytest.raises(BadRoute, match="date"):
        read_stream_table(TIDES / "PUG1741.toml", 3600.0)


@pytest.mark.parametrize(("file", "one", "taken"), [
    ("toward_deg = 30\n", "", True), ("", "toward_deg = 30\n", True), ("", "", False),
])  # fmt: skip
def test_a_constituent_goes_its_own_way_or_the_file_s(tmp_path, file, one, taken):
    text = f'speeds = "kn"\n{file}[constituents.M2]\namplitude = 1\nphase_deg = 0\n{one}'
    if not taken:
        with pytest.raises(BadRoute, match="M2 wants toward_deg"):
            parse_constants(text, tmp_path / "tide.toml")
        return
    east, north = parse_constants(text, tmp_path / "tide.toml").at(np.arange(0.0, DAY_S, 600.0))
    assert np.tan(np.radians(30)) * north == pytest.approx(east, abs=1e-9)


@pytest.mark.parametrize("zone_h", [-15, 15])
def test_a_zone_that_no_clock_has_is_refused(tmp_path, zone_h):
    # zones run from -12 (west of the date line) to +14 h (Line Islands)
    text = f'{HEAD}phases = "zone"\nzone_h = {zone_h}\n[constituents.M2]\namplitude = 1\n'
    with pytest.raises(BadRoute, match="zone_h"):
        parse_constants(text + "phase_deg = 0\n", tmp_path / "tide.toml")


# f = a + b cos N and u = c sin N degrees, N the node's longitude: Doodson's first terms as Pugh,
# "Tides, surges and mean sea-level", 1987, table 4:3, gives them (from memory), and how far the
# terms left out reach: the second is a tenth of the first and more where the node does much.
DOODSON = {
    "MM": (1.000, -0.130, 0.0, 0.02, 0.1), "MF": (1.043, 0.414, -23.7, 0.05, 3.3),
    "O1": (1.009, 0.187, 10.8, 0.03, 1.7), "K1": (1.006, 0.115, -8.9, 0.03, 1.2),
    "J1": (1.013, 0.168, -12.9, 0.04, 1.8), "M2": (1.000, -0.037, -2.1, 0.01, 0.2),
    "K2": (1.024, 0.286, -17.7, 0.04, 1.2), "OO1": (1.102, 0.643, -36.7, 0.12, 6.0),
}  # fmt: skip


@pytest.mark.parametrize("name", DOODSON)
def test_node_factors_and_angles_are_doodsons(name):
    t_s = parse_utc("2000-01-01T12:00") + np.linspace(0, 18.61 * 365.25, 60) * DAY_S
    node = np.radians(125.0 - 0.0529539 * (t_s - t_s[0]) / DAY_S)  # textbook
    level, swing, turn_deg, off, off_deg = DOODSON[name]
    factor, angle = tide.BASIC[name].node(tide.Orbit.at(t_s))
    assert factor == pytest.approx(level + swing * np.cos(node), abs=off)
    assert np.degrees(angle) == pytest.approx(turn_deg * np.sin(node), abs=off_deg)
