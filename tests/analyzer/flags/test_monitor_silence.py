"""A log with weeks of silence in it: only its beginning is walked."""

import numpy as np

from analyzer.flags import monitor
from logger import boat as boats
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store

S = 1_000_000


def test_weeks_without_a_reading_are_passed_over(tmp_path, plain_boat, monkeypatch):
    group = Group("t", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
    walked = []
    walk = monitor.walk
    monkeypatch.setattr(monitor, "walk", lambda w, piece: walked.append(piece) or walk(w, piece))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        for boot, days in (("first", 0), ("second", 30)):
            writer = store.writer(boot)
            writer.add(UtcFix(0, 1_780_000_000 * S + days * 86400 * S, "file", 1.0))
            t_us = np.arange(60, dtype=np.int64) * S
            writer.add(Block(group, t_us, np.column_stack([np.full(60, 53.0), np.full(60, 2.0)])))
            writer.close()
        monitor.run(store, boats.load(plain_boat))
    assert [bool(piece.values) for piece in walked] == [True, False, True]


def test_a_winter_in_one_boot_costs_no_more_than_the_two_days_beside_it(
    tmp_path, plain_boat, monkeypatch
):
    group = Group("t", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
    starts_us = []
    walk = monitor.walk
    monkeypatch.setattr(
        monitor, "walk", lambda w, piece: starts_us.append(piece.t0_us) or walk(w, piece)
    )
    begin_us, winter_us = 1_780_000_000 * S, 150 * 86400 * S
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, begin_us, "file", 1.0))
        for from_us in (0, winter_us):
            t_us = from_us + np.arange(60, dtype=np.int64) * S
            writer.add(Block(group, t_us, np.column_stack([np.full(60, 53.0), np.full(60, 2.0)])))
        writer.close()
        monitor.run(store, boats.load(plain_boat))
    # The first hour, the one after it, and that in which readings come again, on one grid.
    hour_us = 3600 * S
    assert starts_us == [begin_us, begin_us + hour_us, begin_us + winter_us]
