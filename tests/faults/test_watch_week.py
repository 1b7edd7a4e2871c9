"""Days of 1 Hz data through the watch in one process: flat memory, each cause flagged once.

The boat, its days and its faults are invented. KEELWATT_FULL=1 runs a week, else six hours.
"""

import gc
import os
from pathlib import Path

import numpy as np

from analyzer.flags import monitor
from analyzer.series.series import Series
from logger.boat import Cable, Motor, Pack
from tests.support.motor_boat import motor_boat

HOURS = 168 if os.environ.get("KEELWATT_FULL") else 6
PIECE_S = 1800
BOAT = motor_boat(
    pack=Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200, max_discharge_a=150),
    motor=Motor(rated_power_w=6000, motor_max_temp_c=120, controller_max_temp_c=80),
    cable=(
        Cable(name="positive", size_mm2=50, length_m=2, probe="positive", partner="negative"),
        Cable(name="negative", size_mm2=50, length_m=2, probe="negative", partner="positive"),
    ),
)
# Share of the whole run -> what goes wrong for ten minutes, and the kind it should be flagged as.
FAULTS = {
    0.10: ("motor_temp_c", 126.0, "motor_hot"),
    0.25: ("controller_temp_c", 84.0, "controller_hot"),
    0.40: ("cell_05_voltage_v", 2.55, "cell_low"),
    0.55: ("controller_fault_code", 31.0, "controller_fault"),
    0.70: ("pack_temp_c", 58.0, "pack_hot"),
    0.85: ("ambient_temp_c", np.nan, "quiet"),
}


def pieces():
    """The run, half an hour at a time; the day warms and cools, the motor comes and goes."""
    rng = np.random.default_rng(1)
    lug = np.array([20.0, 20.0])
    for first in range(0, HOURS * 3600, PIECE_S):
        t = first + np.arange(PIECE_S)
        air = 18 + 6 * np.sin(2 * np.pi * t / 86400)
        on = ((t // 2400) % 3) == 1
        amps = np.where(on, 70.0, np.where(t // 2400 % 3 == 2, -35.0, -34.0))
        amps = amps * (1 + 0.05 * rng.standard_normal(PIECE_S))
        made = np.array([4.0, 4.6])[:, None] * (amps / 70) ** 2
        temps = np.empty((2, PIECE_S))
        for k in range(PIECE_S):
            lug += (air[k] + made[:, k] - lug) / 600
            temps[:, k] = lug
        soc_wave = 53.0 + 0.1 * np.sin(2 * np.pi * t / 7200)
        volts = soc_wave - 0.01 * amps + rng.normal(0, 0.01, PIECE_S)
        values = {
            "pack_current_a": amps,
            "pack_voltage_v": volts,
            "pack_temp_c": np.full(PIECE_S, 22.0),
            "motor_temp_c": np.where(on, 60.0, 40.0) + rng.normal(0, 0.3, PIECE_S),
            "controller_temp_c": 42 + rng.normal(0, 0.3, PIECE_S),
            "controller_fault_code": np.zeros(PIECE_S),
            "ambient_temp_c": air + rng.normal(0, 0.1, PIECE_S),
            "probe_positive_temp_c": temps[0] + rng.normal(0, 0.1, PIECE_S),
            "probe_negative_temp_c": temps[1] + rng.normal(0, 0.1, PIECE_S),
        }
        for c in range(1, 17):
            values[f"cell_{c:02d}_voltage_v"] = volts / 16 + rng.normal(0, 5e-4, PIECE_S)
        for share, (channel, value, _) in FAULTS.items():
            begin = int(share * HOURS * 3600)
            values[channel][(t >= begin) & (t < begin + 600)] = value
        yield Series(1_700_000_000_000_000 + first * 1_000_000, 1.0, PIECE_S, values)


def resident_mb() -> float:
    """Memory of this process that is in RAM. Source: proc(5), statm."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def test_long_run_is_flat_in_memory_and_each_cause_is_flagged_once():
    judge = monitor.Watch(BOAT)
    raised, held = [], []
    for k, piece in enumerate(pieces()):
        raised += [e.flag.kind for e in monitor.walk(judge, piece) if e.action == "raised"]
        del piece
        if k % 2:
            gc.collect()
            held.append(resident_mb())
    early, late = held[len(held) // 4], held[-1]
    print(f"\n{HOURS} h in {HOURS * 2} pieces: raised {raised}")
    print(f"resident after a quarter {early:.1f} MB, at the end {late:.1f} MB")
    assert raised == [kind for _, _, kind in FAULTS.values()]
    assert late - early < 6.0
