"""Logs as boats leave them: empty, a minute long, with a gap, without a date or a position, with a
hundred trips, over two years."""

import numpy as np

from analyzer.answers import Log
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from tests.support.invented import InventedLog

START_US = 1_782_887_400_000_000  # 1 July 2026, 06:30 UTC
HALF_S, GAP_S = 900, 4200  # a quarter of an hour on either side of 70 minutes
DAY_S, MONTH_S = 86_400, 2_629_800  # a twelfth of a Julian year
CELLS = tuple(f"cell_{k:02d}_voltage_v" for k in range(1, 9))
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a", *CELLS), (EXACT,) * 10)
GPS = Group(
    "t/gps",
    ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg"),
    (EXACT,) * 4,
)
QUICK = ("empty", "a minute", "a gap", "no date", "no position")
LONG = ("100 trips", "24 months")


def motor_on(writer, start_s, far_m, position=True, lasts_s=HALF_S):
    """Motoring north at 2.2 m/s."""
    t_us = (start_s + np.arange(lasts_s, dtype=np.int64)) * 1_000_000
    cells = 3.3 + 0.001 * np.arange(8) - 0.0001 * np.arange(lasts_s)[:, None] / 60
    amps = np.full(lasts_s, 40.0)
    writer.add(Block(PACK, t_us, np.column_stack([cells.sum(axis=1), amps, cells])))
    if position:
        north = 46 + (far_m + 2.2 * np.arange(lasts_s)) / 111_120  # metres in a degree: 60 x 1852
        even = np.tile([-24.0, 2.2, 0.0], (lasts_s, 1))
        writer.add(Block(GPS, t_us, np.column_stack([north, even])))


def stretches(name):
    """Where motoring begins, and for how long. [s]"""
    match name:
        case "empty":
            return []
        case "a minute":
            return [(0, 60)]
        case "100 trips":
            return [(k * DAY_S // 2, HALF_S) for k in range(100)]
        case "24 months":
            return [(k * MONTH_S, HALF_S) for k in range(24)]
    return [(0, HALF_S), (HALF_S + GAP_S, HALF_S)]


def odd_log(path, name):
    """One of them, looked through."""
    with Store.open(path, write=True) as store:
        store.save_boat(InventedLog.boat_toml, 1)
        writer = store.writer("boot")
        if name != "no date":
            writer.add(UtcFix(0, START_US, "file", 1.0))
        for k, (start_s, lasts_s) in enumerate(stretches(name)):
            motor_on(writer, start_s, 2.2 * HALF_S * (k % 2), name != "no position", lasts_s)
        writer.close()
    log = Log(path, None)
    log.refresh()
    return log
