"""What nothing measures is never called sound."""

from pathlib import Path

import numpy as np
import pytest

from analyzer.answers.health import now as health
from analyzer.faces.cli.main import main
from analyzer.series.log import OpenLog
from logger.store import Block, Group, Quantum, Store

S = 1_000_000
MINUTES = 20


@pytest.fixture
def places(tmp_path, plain_boat):
    """A log of pack voltage and current alone: no cell, no probe, no voltage at the controller."""
    log = tmp_path / "log.sqlite"
    group = Group("pack", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum(0.1)))
    t_us = np.arange(MINUTES * 60, dtype=np.int64) * S
    values = np.column_stack([np.full(len(t_us), 52.0), np.full(len(t_us), 40.0)])
    with Store.open(log, write=True) as store, store.writer("boot") as writer:
        writer.add(Block(group, t_us, values))
    return ["--log", str(log), "--boat", str(plain_boat)]


def test_cells_and_cables_without_sensors_are_not_measured(places):
    with OpenLog.open(Path(places[1]), Path(places[3])) as log:
        cells, cables = health.cells(log), health.cables(log)
    assert not cells.findings
    assert not cables.findings
    assert cells.not_measured.startswith("Cells are not measured")
    assert cables.not_measured.startswith("How warm cables and joints are is not measured")


@pytest.mark.parametrize(("command", "sound"), [("cells", "No cell is"), ("cables", "No cable is")])
def test_the_command_line_says_so(places, capsys, command, sound):
    assert main([command, *places]) == 0
    said = capsys.readouterr().out
    assert "not measured" in said
    assert sound not in said
