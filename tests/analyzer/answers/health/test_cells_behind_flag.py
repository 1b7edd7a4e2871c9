"""A cell that is behind by what cannot be told apart: one flag, and one figure everywhere.

An LFP pack seen in the middle of its charge only, where a cell 6 % low may lack charge or capacity;
invented, on the published curve.
"""

import re

import numpy as np
import pytest

from analyzer.answers import flags, refresh, review
from analyzer.answers.health.now import cells
from analyzer.pack.cell_model import chemistry
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage
from logger.store import Store
from tests.analyzer.answers.health.test_cells_over_trips import block
from tests.support.hull_boat import boat

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
CELL, LESS, STEP_S = 7, 0.06, 10.0


def outing() -> Series:
    """From 48 to 20 % of charge at changing load."""
    rng = np.random.default_rng(5)
    levels = np.repeat(rng.uniform(0.05, 0.25, 60), 12) * PACK.rated_capacity_ah
    given = np.cumsum(levels) * STEP_S / 3600 / PACK.rated_capacity_ah
    amps = levels[given < 0.28]
    charge = 0.48 - given[given < 0.28]
    values = {"pack_current_a": np.round(amps, 1)}
    for cell in range(1, 17):
        own = charge - LESS * (cell == CELL)
        volts = chemistry("lfp").ocv_v(own, 25.0, -1.0) - amps * 0.5e-3
        values[cell_voltage(cell)] = np.round(volts + rng.normal(0, 3e-4, len(amps)), 4)
    return Series(0, STEP_S, len(amps), values)


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    path = tmp_path_factory.mktemp("behind") / "log.sqlite"
    with Store.open(path, write=True) as store:
        with store.writer("boot") as writer:
            writer.add(block(outing()))
        opened = OpenLog(store, boat().model_copy(update={"pack": PACK}))
        refresh.refresh(opened)
        yield opened


def test_it_raises_a_flag_with_size_sureness_and_what_to_do(log):
    (flag,) = [f for f in flags.flags(log) if f.subject == f"cell {CELL}"]
    assert flag.kind == "cell_behind"
    assert re.search(r"\d % \(\d+ to \d+ %\) behind the others here", flag.evidence)
    assert "% sure" in flag.cause
    assert flag.first_action.startswith("Plan for less range. In harbour:")


def test_flag_cells_and_review_give_one_figure(log):
    (found,) = [f for f in cells(log).findings if f.subject == f"cell {CELL}"]
    assert found.kind == "cell_behind"
    assert found.size.low < LESS < found.size.high  # it was made so
    (flag,) = [f for f in flags.flags(log) if f.subject == f"cell {CELL}"]
    (told,) = [f for f in review.review(log, 1).flags if f.subject == f"cell {CELL}"]
    assert {flag.now or flag.evidence, told.now or told.evidence} == {found.text}
