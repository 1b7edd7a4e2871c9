"""The wiring's tests on a log: every cell and every block takes part, and no other channel."""

import numpy as np
import pytest

from analyzer.grounds.wiring_tests import wiring_tests
from logger.boat import Boat, Motor, Pack
from logger.channels import block_voltage, cell_voltage
from logger.reading import EXACT, Block, Group
from logger.store import Store
from tests.support.motor_boat import motor_boat

N = 600
CELL_V = 3.3


def boat(blocks: int | None) -> Boat:
    return motor_boat(
        pack=Pack(
            chemistry="lfp", cells_in_series=4, rated_capacity_ah=100, blocks_in_series=blocks
        ),
        motor=Motor(rated_power_w=500),
    )


@pytest.fixture
def kinds(tmp_path):
    """What the wiring's tests find; given the boat and the volts of each part."""

    def of(afloat: Boat, volts: dict[str, float]) -> set[str]:
        names = ("pack_voltage_v", *volts)
        rows = np.tile([4 * CELL_V, *volts.values()], (N, 1))
        with Store.open(tmp_path / "log.sqlite", write=True) as store:
            writer = store.writer("boot")
            group = Group("t", names, (EXACT,) * len(names))
            writer.add(Block(group, np.arange(N, dtype=np.int64) * 1_000_000, rows))
            writer.close()
            tests = wiring_tests(afloat, store)
        return {test.finding.kind for test in tests if test.finding is not None}

    return of


PARTS = {
    "cells": (None, [cell_voltage(k) for k in (1, 2, 3, 4)], CELL_V),
    "blocks": (2, [block_voltage(k) for k in (1, 2)], 2 * CELL_V),
}


@pytest.mark.parametrize("name", PARTS)
def test_parts_that_add_up_are_no_finding(kinds, name):
    blocks, names, volts = PARTS[name]
    assert "cells_do_not_add_up" not in kinds(boat(blocks), dict.fromkeys(names, volts))


@pytest.mark.parametrize("name", PARTS)
@pytest.mark.parametrize("which", [0, -1])
def test_the_first_and_the_last_part_count(kinds, name, which):
    """One part reads 0.6 V too much: of 13.2 V that is more than meters differ by."""
    blocks, names, volts = PARTS[name]
    found = kinds(boat(blocks), dict.fromkeys(names, volts) | {names[which]: volts + 0.6})
    assert "cells_do_not_add_up" in found
