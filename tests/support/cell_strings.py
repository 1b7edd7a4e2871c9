"""Strings of cells lived through three days, by physics that is not the analyzer's.

Cells are those of `tests.boats.ion_pack`: half-cell curves, Butler-Volmer charge transfer, a
Warburg element, play hysteresis, heat. Healthy cells differ by 0.3 % in capacity and about 4 % in
resistance, as new ones do (0.2 to 0.3 and 0.7 to 3.8 %: Wildfeuer and Lienkamp 2021, of earlier
studies), aged ones by up to 1 % in capacity (assumed); in charge by 0.1 to 0.5 % (assumed). Days
and faults are invented.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage
from tests.boats.ion_pack import IonPack
from tests.boats.kind_boat import ion_cells

STEP_S = 10.0
DAY_S = 86_400
CELLS = {"lfp": 16, "nmc": 14}
FULL_V = {"lfp": 3.50, "nmc": 4.15}  # of a cell, where the charger holds
OVER_V = {"lfp": 3.65, "nmc": 4.22}  # of the highest cell, where protection ends the charge
CUTOFF_V = {"lfp": 2.6, "nmc": 3.0}
FAULTS = ("", "cell_charge", "cell_capacity", "cell_resistance")
INPUT_SD_V, NOISE_V, RESOLUTION_V = 0.0005, 0.0003, 0.001  # of a cell's voltage input; assumed


@dataclass(frozen=True)
class CellString:
    """One string. cell: the faulty one, from 1. size: of its fault, as a share."""

    pack: Pack
    fault: str
    cell: int
    size: float
    cells: IonPack
    rng: np.random.Generator
    recorded: bool  # whether charging is


def cell_string(number: int) -> CellString:
    """The string of that number; faults take turns, one in four is healthy."""
    rng = np.random.default_rng((19, number))
    name = "nmc" if rng.random() < 0.3 else "lfp"
    count, fault = CELLS[name], FAULTS[number % 4]
    rated_ah, label_frac = float(rng.uniform(60, 280)), float(rng.uniform(0.82, 1.02))
    cells = ion_cells(rng, name, count, rated_ah, label_frac)
    cells = replace(cells, capacity_ah=np.full(count, rated_ah * label_frac))
    capacity = 1 + rng.uniform(0.003, 0.010) * rng.standard_normal(count)
    resistance = np.full(count, 1.0)
    soc = 1.0 - np.abs(rng.uniform(0.001, 0.005) * rng.standard_normal(count))
    cell = int(rng.integers(1, count + 1))
    low, high = {"cell_charge": (0.04, 0.25), "cell_capacity": (0.06, 0.35),
                 "cell_resistance": (0.4, 1.5)}.get(fault, (0.0, 0.0))  # fmt: skip
    size = float(rng.uniform(low, high))
    if fault == "cell_charge":
        soc[cell - 1] -= size
    elif fault == "cell_capacity":
        capacity[cell - 1] = 1 - size
    elif fault == "cell_resistance":
        resistance[cell - 1] = 1 + size
    pack = Pack(chemistry=name, cells_in_series=count, rated_capacity_ah=round(rated_ah))
    state = cells.scaled(resistance, capacity).pack(soc, float(rng.uniform(8, 28)))
    return CellString(pack, fault, cell, size, state, rng, bool(rng.random() < 0.5))


def days(string: CellString, number: int = 3) -> Iterator[Series]:
    """What is recorded, day by day: an outing of changing load, and the charge after it."""
    offset_v = string.rng.normal(0, INPUT_SD_V, string.pack.cells_in_series)
    for day in range(number):
        out = _outing(string)
        back = _charge(string)
        rows = np.array(out + back if string.recorded else out)
        yield _read(string, rows, offset_v, day * DAY_S)


def _row(string: CellString, amps: float) -> list[float]:
    """Current and each cell's voltage after a step."""
    rest_v, ohm = string.cells.source()
    volts = rest_v - amps * ohm
    string.cells.step(amps, STEP_S)
    return [amps, *volts]


def _outing(string: CellString) -> list[list[float]]:
    """Moored for a while, then motoring until so much is given or a cell is at its end."""
    rng, ah = string.rng, string.pack.rated_capacity_ah
    rows = [_row(string, 0.004 * ah) for _ in range(int(rng.integers(30, 120)))]
    left = float(rng.uniform(0.45, 0.85)) * float(np.median(string.cells.cells.capacity_ah))
    while left > 0:
        amps = ah * float(rng.choice([0.0, 0.08, 0.15, 0.22, 0.35]))
        for k in range(int(rng.integers(6, 60))):
            rows.append(_row(string, amps + 0.02 * ah * float(rng.standard_normal())))
            left -= rows[-1][0] * STEP_S / 3600
            if k % 6 == 0:
                string.cells.refresh(0.0, 6 * STEP_S, float(string.cells.temp_c.mean()))
            if min(rows[-1][1:]) < CUTOFF_V[string.pack.chemistry] + 0.05:
                return rows
    return rows


def _charge(string: CellString) -> list[list[float]]:
    """Constant current, then held at the top until it tails off; one in four ends early."""
    rng, pack = string.rng, string.pack
    rows = [_row(string, 0.004 * pack.rated_capacity_ah) for _ in range(60)]
    most_a = float(rng.uniform(0.1, 0.25)) * pack.rated_capacity_ah
    until = float(rng.uniform(0.6, 0.9)) if rng.random() < 0.25 else 2.0
    full_v = FULL_V[pack.chemistry] * pack.cells_in_series
    for k in range(int(10 * 3600 / STEP_S)):
        rest_v, ohm = string.cells.source()
        amps = min(most_a, (full_v - float(rest_v.sum())) / float(ohm.sum()))
        highest = float((rest_v + max(amps, 0.0) * ohm).max())
        low_enough = highest < OVER_V[pack.chemistry] and float(np.median(string.cells.soc)) < until
        if amps < 0.015 * pack.rated_capacity_ah or not low_enough:
            break
        rows.append(_row(string, -amps))
        if k % 6 == 0:
            string.cells.refresh(0.0, 6 * STEP_S, float(string.cells.temp_c.mean()))
    return rows + [_row(string, 0.002 * pack.rated_capacity_ah) for _ in range(120)]


def _read(string: CellString, rows: np.ndarray, offset_v: np.ndarray, begin_s: float) -> Series:
    """As instruments give it: a tenth of an ampere for 230 Ah, a millivolt."""
    step_a = 0.1 * string.pack.rated_capacity_ah / 230
    amps = rows[:, 0] + string.rng.normal(0, 0.5 * step_a, len(rows))
    volts = rows[:, 1:] + offset_v + string.rng.normal(0, NOISE_V, rows[:, 1:].shape)
    values = {"pack_current_a": np.round(amps / step_a) * step_a}
    for i, column in enumerate(volts.T, 1):
        values[cell_voltage(i)] = np.round(column / RESOLUTION_V) * RESOLUTION_V
    return Series(round(begin_s * 1e6), STEP_S, len(rows), values)
