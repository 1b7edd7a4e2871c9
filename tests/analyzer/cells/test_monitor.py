"""The cell monitor on invented strings of cells with known faults."""

import numpy as np
import pytest
from pytest import approx

from analyzer.cells.deficit import Evidence
from analyzer.cells.hypotheses import GRID, PRIOR, USUAL
from analyzer.cells.monitor import CellMonitor
from analyzer.cells.verdict import Told, verdict
from analyzer.pack.cell_model import chemistry
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=230)
R_OHM = 0.45e-3


def string(seed, weak=None, hours=2.0):
    """Two hours of changing load on sixteen cells, 1 mV and 0.1 A resolution; invented."""
    rng = np.random.default_rng(seed)
    n = round(hours * 3600)
    amps = np.repeat(rng.uniform(-10, 120, n // 120), 120) + rng.normal(0, 1, n)
    values = {"pack_current_a": np.round(amps, 1)}
    for i in range(1, 17):
        soc = 0.85 + 0.003 * rng.standard_normal() - np.cumsum(amps) / 3600 / 230
        ohm = R_OHM * (1.3 if i == weak else 1 + 0.03 * rng.standard_normal())
        volts = chemistry("lfp").ocv_v(soc) - amps * ohm + rng.normal(0, 3e-4, n)
        values[cell_voltage(i)] = np.round(volts, 3)
    return Series(0, 1.0, n, values)


@pytest.mark.parametrize("seed", range(8))
def test_findings_names_the_cell_of_raised_resistance_only(seed):
    monitor = CellMonitor(PACK)
    monitor.update(string(seed, weak=seed + 5))
    assert [f.subject for f in monitor.detections()] == [f"cell {seed + 5}"]
    weak = monitor.weakest()
    assert weak is not None
    assert weak.r_excess_ohm == approx(0.3 * R_OHM, rel=0.3)


@pytest.mark.parametrize("seed", range(8))
def test_findings_is_empty_on_a_healthy_string(seed):
    monitor = CellMonitor(PACK)
    monitor.update(string(100 + seed))
    assert monitor.detections() == []
    assert monitor.weakest() is None


def test_the_run_down_counts_what_is_likely_though_it_is_not_told(monkeypatch):
    """A third that a cell lacks a tenth of the charge: too little to tell, too much to leave."""
    monitor = CellMonitor(PACK)
    monitor.update(string(100, hours=0.2))
    weight = np.zeros(PRIOR.shape)
    weight[USUAL, np.argmin(np.abs(GRID.charge - 0.1))] = 1 / 3
    weight[USUAL, 0] = 2 / 3
    sound = np.zeros(PRIOR.shape)
    sound[USUAL, 0] = 1.0
    seen = Evidence.nothing(16)
    each = [verdict(weight if i == 4 else sound, seen, i, Told()) for i in range(16)]
    monkeypatch.setattr(monitor, "_judge", lambda: setattr(monitor, "_verdicts", each))
    assert monitor.detections() == []
    weak = monitor.weakest()
    assert weak is not None
    assert (weak.name, weak.told) == ("cell 5", False)
    ((share, missing),) = [(one.weight, one.mean) for one in weak.deficits]
    assert share == approx(1 / 3)
    assert missing == approx(0.1, rel=0.07)  # bins are 12 % apart


def test_update_in_any_portions_gives_the_same():
    series = string(3, weak=4, hours=0.5)
    whole, parts = CellMonitor(PACK), CellMonitor(PACK)
    whole.update(series)
    for k in range(0, series.n, 7):
        parts.update(series.cut(k, k + 7))
    assert whole.rows() == parts.rows()
    assert whole.detections() == parts.detections()


def test_blocks_are_followed_where_cells_are_not_measured():
    series = string(5, weak=6, hours=1.0)
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=230, blocks_in_series=4)
    values = {"pack_current_a": series.values["pack_current_a"]}
    for b in range(4):
        cells = [series.values[cell_voltage(4 * b + i)] for i in range(1, 5)]
        values[block_voltage(b + 1)] = np.sum(cells, axis=0)
    monitor = CellMonitor(pack)
    monitor.update(Series(0, 1.0, series.n, values))
    assert [r.name for r in monitor.rows()] == ["block 1", "block 2", "block 3", "block 4"]
    assert "blocks of 4 cells" in monitor.remarks()[0]


def test_nothing_measured_says_so():
    monitor = CellMonitor(PACK)
    monitor.update(Series(0, 1.0, 10, {"pack_current_a": np.ones(10)}))
    assert monitor.rows() == ()
    assert not monitor.spread().known
    assert "No cell or block voltages" in monitor.remarks()[0]


def test_cells_without_a_current_have_no_rows():
    """A pack current that died before the log began: nothing of a cell is known, and no "inf V"."""
    pack = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100)
    monitor = CellMonitor(pack)
    volts = {f"cell_{k:02}_voltage_v": np.full(120, 3.3) for k in range(1, 5)}
    monitor.update(Series(0, 1.0, 120, volts))
    assert monitor.rows() == ()
    monitor.update(Series(120_000_000, 1.0, 120, volts | {"pack_current_a": np.full(120, 20.0)}))
    assert [row.lowest_v for row in monitor.rows()] == [3.3] * 4
