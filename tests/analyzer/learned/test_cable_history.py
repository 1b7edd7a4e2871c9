"""Trips leave what they found about the cables in the log, once, and it comes back."""

import numpy as np

from analyzer.learned import cable_history
from logger.reading import Block, Group, Quantum
from logger.store import Store, TripRecord
from tests.support.motor_boat import PROBED, motor_boat

BOAT = motor_boat(cable=(PROBED,))
NAMES = ("pack_current_a", "ambient_temp_c", "probe_positive_temp_c")


def test_each_trip_is_kept_once_and_read_back(tmp_path):
    n = 3600
    temp = 20 + 6 * (1 - np.exp(-np.arange(n) / 500))
    table = np.column_stack([np.full(n, 110.0), np.full(n, 20.0), temp])
    group = Group("test/all", NAMES, tuple(Quantum() for _ in NAMES))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(Block(group, np.arange(n, dtype=np.int64) * 1_000_000, table))
        writer.close()
        first, _ = store.span()
        trips = [TripRecord(1, first, first + n * 1_000_000, {})]
        cable_history.gather(store, BOAT, trips)
        cable_history.gather(store, BOAT, trips)
        assert len(store.learned(cable_history.KEY)) == 1
        (kept,) = cable_history.history(store)["positive"]
        # 110 A in a cable whose reference is half its rating: 6 K there, by the square of current.
        assert 3.0 < kept.rise_k < 8.0
        assert cable_history.history(store, first) == {}
