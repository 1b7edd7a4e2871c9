"""The logs that `answers_snapshot.py` asks: invented boats and open data, recorded once.

Each has beside it what a question needs: the boat file, a route and the time that it is asked at.
A log is recorded without its boat file, so that nothing learned lies in it.
"""

import csv
import json
import math
import os
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from tests.support.column_maps import ROAD_TRIP

AFTER_S = 30.0  # the clock stands so long after the newest reading
UNDATED_NOW_S = 1767225600.0  # 2026-01-01 for logs without a date
NOWHERE = (46.0, -24.0)  # a place in open ocean for logs without one
Ask = Callable[[Sequence[str]], Any]

# Invented boats carry different kits, as answers fall back on other channels where one is missing.
MINIMUM = {"pack_voltage_v", "pack_current_a", "latitude_deg", "longitude_deg"}
MINIMUM |= {"speed_ground_mps", "course_ground_deg"}
BOATS = {f"boat_{k:02}": 100 + k for k in range(1, 21)}
DIGITS = {"_deg": 7, "_v": 3, "_c": 1, "_a": 1, "_w": 0, "_mps": 3, "_rps": 2, "_frac": 3}
FIRST_ROWS = {"leaf_charging": 1150}  # ends in the middle of a charge

DATA_BOAT = """name = "open data"
[hull]
waterline_m = 7.2
beam_waterline_m = 2.3
draught_m = 1.3
displacement_kg = 3100
[pack]
chemistry = "{chemistry}"
cells_in_series = {cells}
rated_capacity_ah = {ah}
[motor]
rated_power_w = {watts}
"""
LFP_MAP = """[time]
column = "time_s"
[[column]]
column = "discharge_current_A"
channel = "pack_current_a"
[[column]]
column = "voltage_V"
channel = "pack_voltage_v"
"""
# name: file, its map (None: the one beside it), chemistry, cells, Ah, motor W; all from its README
OPEN_DATA = {
    "road_A06": ("ev_road_trips/trip_A06.csv", ROAD_TRIP, "nmc", 96, 60, 60_000),
    "road_B38": ("ev_road_trips/trip_B38.csv", ROAD_TRIP, "nmc", 96, 60, 60_000),
    "gauge_T3": ("twizy_road_trips/T3_06_07_2021.csv", None, "nmc", 14, 105, 13_000),
    "lead_acid": ("lead_acid_17ah_telemetry/unit_a_first_days.csv", None, "lead_acid", 6, 17, 100),
    "leaf_charging": ("leaf_cell_33ah/1c.csv", None, "nmc", 1, 33.1, 200),
    "leaf_cell": ("leaf_cell_33ah/1c.csv", None, "nmc", 1, 33.1, 200),
    "lfp_cell": ("lfp_3500mah_excitation/excitation_run1.csv", LFP_MAP, "lfp", 1, 3.6862, 20),
}


@dataclass(frozen=True)
class Facts:
    """Files beside a log. now: UTC seconds at which questions are asked."""

    boat: Path
    route: Path
    now: Path


def facts(log: Path) -> Facts:
    """Where the files beside a log are."""
    return Facts(*(log.with_suffix(end) for end in (".boat.toml", ".gpx", ".now.json")))


def recipes(ask: Ask, root: Path) -> dict[str, Callable[[Path], None]]:
    """How each log is made, by name."""
    made: dict[str, Callable[[Path], None]] = {"demo": partial(make_demo, root)}
    made |= {name: partial(make_boat, ask, seed) for name, seed in BOATS.items()}
    data = Path(os.environ.get("KEELWATT_DATA") or root.parent / "shared" / "data")
    if data.is_dir():
        made |= {name: partial(make_data, ask, data, name) for name in OPEN_DATA}
    else:
        print(f"no open data in {data}: without {', '.join(OPEN_DATA)}")
    return made


def play_demo(ask: Ask, root: Path, log: Path) -> None:
    """Plays the shipped recording with its boat file."""
    demo = root / "replay" / "demo"
    files = [str(demo / name) for name in ("demo.candump.log.zst", "demo.nmea.gz")]
    _replay(ask, [*files, "--boat", str(demo / "boat.toml")], log)


def _replay(ask: Ask, arguments: list[str], log: Path) -> None:
    said = ask(["replay", *arguments, "--log", str(log)])
    if said["exit"] != 0:
        raise SystemExit(f"{log.name} could not be recorded: {said['said']}")


def _record(ask: Ask, log: Path, table: Path, columns: str) -> None:
    """Replays a table into a log, without a boat file."""
    column_map = table.with_suffix(".map.toml")
    column_map.write_text(columns, encoding="utf-8")
    _replay(ask, [str(table), "--map", str(column_map)], log)


def _write_facts(log: Path, boat_text: str, now_s: float, place: tuple[float, float]) -> None:
    """Boat file, route and time; the time last, as it says that all is there."""
    beside = facts(log)
    beside.boat.write_text(boat_text, encoding="utf-8")
    lat, lon = place
    stops = [(lat, lon), (lat + 0.03, lon), (lat + 0.03, lon + 0.03)]
    points = "".join(f'<rtept lat="{a:.6f}" lon="{b:.6f}"/>' for a, b in stops)
    beside.route.write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<rte><name>three marks</name>{points}</rte></gpx>",
        encoding="utf-8",
    )
    beside.now.write_text(json.dumps(now_s), encoding="utf-8")


def in_kit(seed: int, channel: str) -> bool:
    """Whether an invented boat measures this channel."""
    if seed % 4 == 1:
        return not channel.startswith("controller_")
    if seed % 4 == 2:
        return channel in MINIMUM
    if seed % 4 == 3:
        return not channel.startswith(("shaft_", "motor_", "speed_water", "heading"))
    return True


def make_boat(ask: Ask, seed: int, log: Path) -> None:
    """An invented boat's log: two outings for every third, else one."""
    import tomlkit

    from tests.boats.random_day import Wish
    from tests.boats.voyages import voyage

    wish = Wish(end_soc=0.35)
    with tempfile.TemporaryDirectory() as work:
        for day in range(2 if seed % 3 == 0 else 1):
            trip = voyage(seed, day, wish=wish)
            table = Path(work) / f"day_{day}.csv"
            names = [name for name in trip.channels if in_kit(seed, name)]
            _write_table(table, trip.t0_utc_s, {name: trip.channels[name] for name in names})
            blocks = "".join(f'[[column]]\ncolumn = "{n}"\nchannel = "{n}"\n' for n in names)
            _record(ask, log, table, f'[time]\ncolumn = "utc_s"\nunit = "unix_s"\n{blocks}')
    now_s = trip.t0_utc_s + trip.n + AFTER_S
    place = (trip.place.latitude_deg, trip.place.longitude_deg)
    _write_facts(log, tomlkit.dumps(trip.boat_table), now_s, place)


def _write_table(path: Path, start_s: float, channels: dict[str, Any]) -> None:
    """A row a second, rounded as sensors resolve."""
    columns = [[_cell(value, name) for value in values] for name, values in channels.items()]
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["utc_s", *channels])
        for k, row in enumerate(zip(*columns, strict=True)):
            writer.writerow([f"{start_s + k:.0f}", *row])


def _cell(value: float, name: str) -> str:
    digits = next((d for ending, d in DIGITS.items() if name.endswith(ending)), 4)
    return "" if math.isnan(value) else f"{value:.{digits}f}"


def make_data(ask: Ask, data: Path, name: str, log: Path) -> None:
    """A log of open data, with the boat file of a boat that could have it."""
    path, columns, chemistry, cells, ah, watts = OPEN_DATA[name]
    text = columns or (data / path).with_name("map.toml").read_text("utf-8")
    with tempfile.TemporaryDirectory() as work:
        table = Path(work) / Path(path).name
        rows = (data / path).read_text("utf-8").splitlines(keepends=True)
        table.write_text("".join(rows[: FIRST_ROWS.get(name, len(rows))]), "utf-8")
        _record(ask, log, table, text)
    now_s = UNDATED_NOW_S
    if tomllib.loads(text)["time"].get("unit") == "iso":
        newest = rows[-1].partition(",")[0]
        moment = datetime.fromisoformat(newest)
        now_s = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp() + AFTER_S
    boat = DATA_BOAT.format(chemistry=chemistry, cells=cells, ah=ah, watts=watts)
    _write_facts(log, boat, now_s, NOWHERE)


def make_demo(root: Path, log: Path) -> None:
    """What the demo's questions need; its log is played by `play_demo`."""
    demo = root / "replay" / "demo"
    boat = (demo / "boat.toml").read_text("utf-8")
    home = tomllib.loads(boat)["home"]
    now_s = json.loads((demo / "truth.json").read_text("utf-8"))["end_utc_s"] + AFTER_S
    _write_facts(log, boat, now_s, (home["latitude_deg"], home["longitude_deg"]))
