"""A sense lead that comes loose: what is left out and what is kept. Cases invented."""

import numpy as np

from analyzer.cells.monitor import CellMonitor
from analyzer.cells.sense_leads import DOUBTED_S, SenseLeads
from analyzer.series.series import Series
from logger.boat import Pack

R0 = 0.3e-3


def table(n: int = 2400, cells: int = 8) -> np.ndarray:
    rng = np.random.default_rng(4)
    amps = 60.0 * ((np.arange(n) // 300) % 2)
    volts = 3.3 - R0 * amps[:, None] + 5e-4 * rng.standard_normal((n, cells))
    return np.column_stack([amps, volts])


def in_pieces(log: np.ndarray, size: int) -> np.ndarray:
    leads = SenseLeads(R0)
    return np.vstack([leads.believed(log[k : k + size], 1.0) for k in range(0, len(log), size)])


def test_sound_readings_are_all_believed():
    log = table()
    np.testing.assert_array_equal(in_pieces(log, 10), log)


def test_a_lead_that_jumps_away_is_left_out_until_it_is_back():
    log = table()
    log[700:900, 3] = 2.5
    got = in_pieces(log, 10)
    assert np.isnan(got[700:900, 3]).all()
    assert np.isfinite(np.delete(got, 3, axis=1)).all()
    assert np.isfinite(got[:700]).all()
    assert np.isfinite(got[900:]).all()


def test_pieces_do_not_matter():
    log = table()
    log[700:900, 3] = 2.5
    log[1500, 5] = 50.0
    for size in (1, 7, 600, 2400):
        np.testing.assert_array_equal(in_pieces(log, size), in_pieces(log, 10))


def test_a_cell_that_stays_away_is_believed_in_the_end():
    log = table()
    log[700:, 3] = 2.5
    got = in_pieces(log, 10)
    assert np.isnan(got[700 : 700 + int(DOUBTED_S), 3]).all()
    assert np.isfinite(got[702 + int(DOUBTED_S) :, 3]).all()


def test_a_bad_link_and_a_cell_that_empties_are_real():
    log = table()
    log[:, 4] -= 4e-3 * log[:, 0]  # 4 milliohm at 60 A: 0.24 V more
    log[1200:, 2] -= 8e-3 * np.arange(1200)  # as fast as a cell near empty falls
    np.testing.assert_array_equal(in_pieces(log, 10), log)


def test_a_loose_lead_is_no_lost_capacity():
    log = table()
    log[700:900, 3] = 2.5
    monitor = CellMonitor(Pack(chemistry="lfp", cells_in_series=8, rated_capacity_ah=200))
    values = {f"cell_{c:02d}_voltage_v": log[:, c] for c in range(1, 9)}
    monitor.update(Series(0, 1.0, len(log), {"pack_current_a": log[:, 0], **values}))
    assert monitor.detections() == []
