"""Makes the demo's files: recording, DBC, boat file and the truth that tests compare with."""

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np

from replay.boatsim import demo_boat as d
from replay.boatsim.ahead import Reach, present_course, present_speed, reach
from replay.boatsim.instruments.recording import Setting, write
from replay.boatsim.instruments.sensors import PROBES
from replay.boatsim.outing import Outing, run
from replay.boatsim.physics.battery import Cells

SHIPPED = Path(__file__).parent.parent / "demo"
OTHER_SPEEDS_KN = (2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0)  # with a known truth, assumed
DEFAULT_SEED = 7  # the shipped recording's, by definition


def outing(*, faults: bool = True, seed: int = DEFAULT_SEED) -> Outing:
    """The demo's outing. The same seed gives the same day, with and without faults."""
    return run(d.demo_boat(faults=faults), d.demo_scene(), seed)


def make(folder: Path, *, faults: bool = True, seed: int = DEFAULT_SEED) -> Outing:
    """Writes boat.toml, demo.dbc, demo.candump.log.zst, demo.nmea.gz and truth.json."""
    day = outing(faults=faults, seed=seed)
    setting = Setting(d.PLACE, d.START_UTC_S, d.GPS_GAP, d.BUS_HOLES)
    write(folder, day, setting, seed)
    if folder.resolve() != SHIPPED.resolve():
        shutil.copy(SHIPPED / "boat.toml", folder / "boat.toml")
    text = json.dumps(truth_of(day, seed), indent=1)
    (folder / "truth.json").write_text(text + "\n", encoding="ascii")
    return day


def _round(values: Any, digits: int) -> Any:
    return np.round(np.asarray(values, dtype=float), digits).tolist()


def truth_of(day: Outing, seed: int) -> dict[str, Any]:
    """What truly was, for tests alone."""
    at = day.n - 1
    present = present_speed(day, at + 1)
    speeds = np.array([present, *(v * d.KN for v in OTHER_SPEEDS_KN)])
    ahead = reach(day, at, speeds)
    cells = day.boat.true_cells()
    every = slice(None, None, 60)
    return {
        "invented": "Everything here is invented; nothing but tests reads this file.",
        "seed": seed,
        "start_utc_s": d.START_UTC_S,
        "end_utc_s": d.START_UTC_S + at * day.motion.dt_s,
        "faults": _faults(day),
        "capacity_ah": round(float(cells.capacity_ah.mean()), 3),
        "cell_capacity_ah": _round(cells.capacity_ah, 3),
        "cell_r_ohm": _round(cells.r_ohm if isinstance(cells, Cells) else [], 8),
        "soc_means": "mean over the cells of charge left over that cell's own capacity",
        "t_s": _round(np.arange(day.n)[every] * day.motion.dt_s, 1),
        "soc_frac": _round(day.cell_soc.mean(axis=1)[every], 5),
        "stream_east_mps": _round(day.motion.stream_east_mps[every], 4),
        "stream_north_mps": _round(day.motion.stream_north_mps[every], 4),
        "speed_water_mps": _round(day.motion.speed_water_mps[every], 4),
        "controller_w": _round(day.motion.controller_w[every], 1),
        "lug_c": {n: _round(day.lug_c[every, k], 2) for k, n in enumerate(PROBES)},
        "legs": _legs(day),
        "paddle_gain": day.boat.instruments.paddle_gain,
        "shunt_offset_a": day.boat.instruments.shunt_offset_a,
        "end": _end(day, ahead, present),
    }


def _faults(day: Outing) -> dict[str, Any]:
    f = day.boat.faults
    out: dict[str, Any] = {"weak_cell": None, "loose_lug": None}
    if f.weak_cell is not None:
        out["weak_cell"] = {"number": f.weak_cell, "resistance_factor": f.weak_factor}
    if f.loose_run is not None:
        k = f.loose_run
        out["loose_lug"] = {
            "cable": day.boat.runs[k].name,
            "from_utc_s": d.START_UTC_S + f.loose_from_s,
            "to_utc_s": d.START_UTC_S + f.loose_to_s,
            "extra_ohm": f.loose_ohm,
            "hottest_c": round(float(day.lug_c[:, k].max()), 2),
        }
    return out


def _legs(day: Outing) -> list[dict[str, Any]]:
    rows = []
    start = 0.0
    for leg in day.scene.legs:
        a = int(start)
        b = int(start + leg.duration_s)
        energy = float((day.series["pack_v"] * day.series["pack_a"])[a:b].sum()) / 3600
        rows.append(
            {
                "doing": leg.doing,
                "from_s": start,
                "to_s": start + leg.duration_s,
                "pack_wh": round(energy, 1),
                "speed_mps": round(leg.speed_mps, 4),
                "sail_mps": round(leg.sail_mps, 4),
            }
        )
        start += leg.duration_s
    return rows


def _end(day: Outing, ahead: Reach, present: float) -> dict[str, Any]:
    def row(k: int) -> dict[str, Any]:
        return {
            "speed_water_mps": round(float(ahead.speed_water_mps[k]), 4),
            "speed_ground_mps": round(float(ahead.speed_ground_mps[k]), 4),
            "pack_w": round(float(ahead.pack_w[k]), 1),
            "distance_m": round(float(ahead.distance_m[k]), 0),
            "duration_s": round(float(ahead.duration_s[k]), 0),
            "limit": ahead.limit[k],
        }

    return {
        "means": "held: speed through water, course over ground, stream, weather, hotel, sun",
        "soc_frac": round(float(day.cell_soc[-1].mean()), 5),
        "course_deg": round(present_course(day, day.n), 2),
        "present_speed_water_mps": round(present, 4),
        "present": row(0),
        "others": [row(k) for k in range(1, len(ahead.limit))],
    }
