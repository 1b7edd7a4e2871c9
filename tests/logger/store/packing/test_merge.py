"""Chunks of finished days and boots become one; nothing is lost or doubled by it."""

import tracemalloc

import numpy as np
import pytest

from logger.reading import Block, Group, Quantum
from logger.store.packing.merge import join, runs
from logger.store.packing.thin import thin
from tests.support.stored import ALL, S, rows


def test_merge_joins_a_day_and_keeps_days_apart(store):
    with store.writer("boot-a") as writer:
        for hour in range(48):
            for row in rows(10, start=hour * 3600):
                writer.add(row)
            writer.seal()
        before = store.read("pack_voltage_v", *ALL)
        writer.merge()
        after = store.read("pack_voltage_v", *ALL)
    assert store._db.execute("SELECT count(*) FROM chunk").fetchone() == (2,)
    assert store._db.execute("SELECT count(*) FROM chunk_value").fetchone() == (4,)
    assert all(np.array_equal(a, b) for a, b in zip(before, after, strict=True))


def test_finished_boots_and_days_are_joined_without_being_asked(store):
    def record_days(uid, days):
        with store.writer(uid, flush_s=0.0) as writer:
            for hour in range(24 * days):
                for row in rows(3, start=hour * 3600):
                    writer.add(row)
                writer.seal()

    def chunks():
        return store._db.execute("SELECT boot_number, count(*) FROM chunk GROUP BY 1").fetchall()

    record_days("boot-a", 2)
    assert chunks() == [(1, 48)]
    before = store.read("pack_voltage_v", *ALL)
    with store.writer("boot-b", flush_s=0.0, seal_s=0.0) as writer:
        for row in rows(10):
            writer.add(row)
    assert dict(chunks())[1] == 48  # seals came before it was time to flush
    with store.writer("boot-b", flush_s=0.0) as writer:
        for row in rows(10, start=10):
            writer.add(row)
    assert dict(chunks())[1] == 2
    end_us = before[0][-1] + 1
    assert np.array_equal(store.read("pack_voltage_v", 0, end_us)[1], before[1])


@pytest.mark.parametrize("overtake", ["merge", "thin"])
def test_a_join_that_was_overtaken_leaves_the_log_alone(store, overtake):
    with store.writer("boot-a", flush_s=1e9) as writer:
        for hour in range(48):
            for row in rows(30, start=hour * 3600):
                writer.add(row)
            writer.seal()
    with store.writer("boot-b", flush_s=0.0) as writer:  # has found boot-a's two days to join
        if overtake == "merge":
            writer.merge()
        else:
            assert writer.thin(2**62, at_most=48) == 48
        before = store.read("pack_voltage_v", *ALL)
        extremes = store.extremes("pack_voltage_v", *ALL)
        for row in rows(5, start=50 * 3600):
            writer.add(row)
        writer.flush()
    end_us = before[0][-1] + 1
    assert all(
        np.array_equal(a, b)
        for a, b in zip(before, store.read("pack_voltage_v", 0, end_us), strict=True)
    )
    assert all(
        np.array_equal(a, b)
        for a, b in zip(extremes, store.extremes("pack_voltage_v", 0, end_us), strict=True)
    )


def test_a_join_has_one_channel_in_memory_at_a_time(store):
    rows_each, width = 6000, 32
    names = tuple(f"other_x_{k}_count" for k in range(width))
    group = Group("can/2", names, (Quantum(0.1),) * width)
    values = np.cumsum(np.random.default_rng(1).integers(-2, 3, (rows_each, width)), axis=0) / 10
    with store.writer("boot-a", flush_s=1e9) as w:
        for part in range(10):
            w.add(Block(group, (np.arange(rows_each) + part * rows_each) * S // 10, values))
            w.seal()
        (run,) = runs(w._db)
        tracemalloc.start()
        join(w._db, run)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert most < 10 * rows_each * width * 8 / 2  # half of what all of it takes as floats
    assert np.array_equal(store.read(names[31], *ALL)[1], np.tile(values[:, 31], 10))


def test_a_join_never_takes_a_chunk_that_got_an_old_number(store):
    with store.writer("boot-a", flush_s=1e9) as writer:
        for hour in range(2):
            for row in rows(30, start=hour * 3600):
                writer.add(row)
            writer.seal()
    (run,) = runs(store._db)
    thin(store._db, run.chunk_numbers[-1])  # SQLite gives the highest number out again
    assert store._db.execute("SELECT max(number), count(*) FROM chunk").fetchone() == (2, 2)
    before = store.extremes("pack_voltage_v", *ALL)
    join(store._db, run)
    after = store.extremes("pack_voltage_v", *ALL)
    assert all(np.array_equal(a, b) for a, b in zip(before, after, strict=True))
