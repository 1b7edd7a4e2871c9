"""What of the mean cell is measured."""

import numpy as np
from pytest import approx

from analyzer.series.derived import (
    cell_temp_c,
    filled,
    held_current_a,
    mean_cell_v,
)
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

PACK = Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100, blocks_in_series=2)


def of(**values):
    return Series(0, 1.0, 3, {k: np.array(v, float) for k, v in values.items()})


def test_mean_cell_v_from_pack_cells_or_blocks():
    assert mean_cell_v(of(pack_voltage_v=[13.2] * 3), PACK) == approx(3.3)
    cells = {cell_voltage(i): [3.2 + 0.1 * (i % 2)] * 3 for i in range(1, 5)}
    assert mean_cell_v(of(**cells), PACK) == approx(3.25)
    blocks = {block_voltage(i): [6.4 + 0.2 * i] * 3 for i in (1, 2)}
    assert mean_cell_v(of(**blocks), PACK) == approx(13.4 / 4)
    assert np.isnan(mean_cell_v(of(), PACK)).all()


def test_held_current_a_holds_a_short_gap_and_not_a_long_one():
    amps = np.full(100, 5.0)
    amps[10:20] = amps[40:] = np.nan
    held, lost = held_current_a(Series(0, 1.0, 100, {"pack_current_a": amps}))
    assert held[15] == 5.0
    assert not lost[15]
    assert held[99] == 0.0
    assert lost[99]


def test_cell_temp_c_prefers_the_pack_and_fills_gaps():
    assert cell_temp_c(of(pack_temp_c=[np.nan, 7, np.nan], ambient_temp_c=[1, 1, 1])).tolist() == [
        7.0,
        7.0,
        7.0,
    ]
    assert cell_temp_c(of(), 12.0).tolist() == [12.0] * 3
    assert filled(np.array([np.nan, 1.0, np.nan, 2.0]), 9.0).tolist() == [1.0, 1.0, 1.0, 2.0]
