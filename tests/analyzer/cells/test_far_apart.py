"""Cells that stand far from the others: always told, and never beyond what a cell can lack.

An hour of changing load on sixteen cells at 70 % of charge, on the published curve carried on below
empty; or one cell that reads the same whatever flows, as a dead cell or a loose lead does.
"""

import numpy as np
import pytest

from analyzer.cells.monitor import CellMonitor
from analyzer.pack.cell_model import chemistry
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage

AH, STEP_S, CELL = 200.0, 10.0, 7


def hour(name, reads_v=None, less=0.0, current_a=None):
    """What is measured; `less`: charge that the cell lacks. Invented."""
    kind, rng, n = chemistry(name), np.random.default_rng(2), 360
    amps = (
        np.repeat(rng.uniform(5, 60, n // 12), 12) if current_a is None else np.full(n, current_a)
    )
    values = {"pack_current_a": amps}
    for cell in range(1, 17):
        charge = 0.7 - less * (cell == CELL) - np.cumsum(amps) * STEP_S / 3600 / AH
        rest_v = kind.ocv_v(np.clip(charge, 0, 1), 25.0, -1.0)
        rest_v = rest_v + np.minimum(charge, 0.0) * kind.docv_dsoc(0.0)
        volts = rest_v - amps * 0.5e-3
        if cell == CELL and reads_v is not None:
            volts = np.full(n, reads_v)
        values[cell_voltage(cell)] = np.round(volts + rng.normal(0, 3e-4, n), 3)
    return Series(0, STEP_S, n, values)


def found(name, **how):
    monitor = CellMonitor(Pack(chemistry=name, cells_in_series=16, rated_capacity_ah=AH))
    monitor.update(hour(name, **how))
    behind = [one for one in monitor.standouts() if one.kind != "cell_resistance"]
    assert [one.name for one in behind] == [f"cell {CELL}"]
    size = behind[0].size
    assert 0.0 <= size.low <= size.mid <= size.high <= 1.0
    assert behind[0].sureness_frac > 0.9
    weak = monitor.weakest()
    assert weak.name == f"cell {CELL}"
    assert sum(one.weight for one in weak.deficits) > 0.9
    return size


@pytest.mark.parametrize("name", ["lfp", "nmc"])
@pytest.mark.parametrize("reads_v", [-0.5, 0.0, 2.2, 2.9])  # reversed, dead, below its cut-off, low
def test_a_cell_whose_voltage_fits_no_cause_is_still_told(name, reads_v):
    found(name, reads_v=reads_v)


@pytest.mark.parametrize(("name", "less"), [("lfp", 0.2), ("lfp", 0.6), ("nmc", 0.2), ("nmc", 0.6),
                                            ("nmc", 0.69)])  # fmt: skip
def test_a_cell_far_behind_is_placed_by_its_own_voltage(name, less):
    size = found(name, less=less)
    assert size.low < less < size.high  # it was made so


@pytest.mark.xfail(
    strict=True,
    reason="a flat LFP string at 70 % of charge, a cell 69 % behind that empties within the hour: "
    "52 % said, 42 to 61; floor: told as surely, and more than 0.4 behind, below",
)
def test_a_cell_driven_empty_is_placed_by_its_own_voltage():
    assert found("lfp", less=0.69).high > 0.69


def test_a_cell_driven_empty_is_told():
    assert found("lfp", less=0.69).low > 0.4


@pytest.mark.parametrize("name", ["lfp", "nmc"])
def test_a_fifth_of_the_charge_apart_is_told_at_rest_too(name):
    found(name, less=0.2, current_a=0.5)
