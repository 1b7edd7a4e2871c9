"""Writing through the writer and reading back, as the logger and the analyzer do."""

import math
import tempfile
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.errors import StoreError
from logger.reading import (
    Block,
    Group,
    Quantum,
    Row,
)
from logger.store import Store
from logger.store.packing import chunks
from tests.support.stored import (
    ALL,
    PACK,
    S,
    rows,
)


def values_of(store, name, start_us=ALL[0], end_us=ALL[1]):
    return store.read(name, start_us, end_us)[1].tolist()


def test_an_empty_log_has_nothing_and_says_so(store):
    assert store.span() is None
    assert store.boots() == []
    assert store.channels() == {}
    assert store.last("pack_voltage_v") is None
    assert values_of(store, "pack_voltage_v") == []
    assert store.summary("pack_voltage_v", *ALL).mean is None
    assert store.boat_text() is None


@pytest.mark.parametrize("step", ["flush", "seal", "merge", "close"])
def test_rows_read_back_the_same_in_every_state(store, step):
    writer = store.writer("boot-a")
    for row in rows(25):
        writer.add(row)
    getattr(writer, step)()
    t_us, values = store.read("pack_voltage_v", *ALL)
    assert t_us.tolist() == [i * S for i in range(25)]
    assert values.tolist() == [50 + i / 100 for i in range(25)]
    assert values_of(store, "pack_current_a") == [-i / 10 for i in range(25)]
    assert store.last("pack_current_a") == (24 * S, -2.4)
    assert store.channels()["pack_voltage_v"].count == 25
    assert store.channels()["pack_voltage_v"].unit == "V"
    assert store.span() == (0, 24 * S)
    writer.close()


def test_tail_and_chunks_are_read_as_one(store):
    with store.writer("boot-a") as writer:
        for row in rows(10):
            writer.add(row)
        writer.seal()
        for row in rows(10, start=10):
            writer.add(row)
        writer.flush()
        assert store.read("pack_voltage_v", *ALL)[0].tolist() == [i * S for i in range(20)]
        assert store.channels()["pack_voltage_v"].count == 20


def test_read_takes_the_start_and_leaves_the_end(store):
    with store.writer("boot-a") as writer:
        for row in rows(100):
            writer.add(row)
    t_us, _ = store.read("pack_voltage_v", 10 * S, 20 * S)
    assert (t_us[0], t_us[-1]) == (10 * S, 19 * S)


def test_missing_values_stay_missing(store):
    with store.writer("boot-a") as writer:
        writer.add(Row(PACK, 0, [None, 1.0]))
        writer.add(Row(PACK, S, [51.0, None]))
        writer.add(Row(PACK, 2 * S, [math.nan, None]))
    assert values_of(store, "pack_voltage_v") == [51.0]
    assert store.read("pack_current_a", *ALL)[0].tolist() == [0]
    assert store.channels()["pack_voltage_v"].count == 1


def test_two_groups_with_one_channel_are_merged_by_time(store):
    other = Group("can/2", ("pack_voltage_v",), (Quantum(0.001),))
    with store.writer("boot-a") as writer:
        for row in rows(5):
            writer.add(row)
        for i in range(5):
            writer.add(Row(other, i * S + S // 2, [48.0]))
    t_us, _ = store.read("pack_voltage_v", *ALL)
    assert t_us.tolist() == [i * S // 2 for i in range(10)]


def test_a_group_whose_channels_change_keeps_both(store):
    wider = Group(PACK.key, (*PACK.channels, "pack_temp_c"), (*PACK.quanta, Quantum(0.1)))
    with store.writer("boot-a") as writer:
        writer.add(Row(PACK, 0, [50.0, 1.0]))
    with store.writer("boot-a") as writer:
        writer.add(Row(wider, S, [51.0, 2.0, 20.5]))
    assert values_of(store, "pack_voltage_v") == [50.0, 51.0]
    assert values_of(store, "pack_temp_c") == [20.5]


def test_alike_groups_made_twice_are_one_and_nothing_is_doubled(store):
    again = Group(PACK.key, PACK.channels, PACK.quanta)
    with store.writer("boot-a") as writer:
        writer.add(Row(PACK, 0, [50.0, 1.0]))
        writer.add(Row(again, S, [51.0, 2.0]))
        writer.flush()
        assert values_of(store, "pack_voltage_v") == [50.0, 51.0]
    assert values_of(store, "pack_voltage_v") == [50.0, 51.0]


def test_a_long_block_goes_to_chunks_without_the_tail(store):
    n = 30_000
    block = Block(PACK, np.arange(n) * S, np.c_[np.full(n, 51.2), np.arange(n) % 100 / 10])
    with store.writer("boot-a", flush_s=0.0) as writer:
        writer.add(block)
        assert store._db.execute("SELECT count(*) FROM tick").fetchone() == (0,)
        assert len(values_of(store, "pack_voltage_v")) == n
    assert np.array_equal(store.read("pack_current_a", *ALL)[1], np.arange(n) % 100 / 10)


def test_a_very_long_block_becomes_several_chunks(store, monkeypatch):
    monkeypatch.setattr(chunks, "MOST_ROWS", 10_000)
    n = 35_000
    with store.writer("boot-a") as writer:
        writer.add(Block(PACK, np.arange(n) * S, np.c_[np.full(n, 51.2), np.arange(n) / 100]))
    assert store._db.execute("SELECT count(*) FROM chunk").fetchone() == (4,)
    t_us, values = store.read("pack_current_a", *ALL)
    assert np.array_equal(t_us, np.arange(n) * S)
    assert np.array_equal(values, np.round(np.arange(n) / 100, 1))


def test_rows_out_of_order_are_read_in_order(store):
    with store.writer("boot-a") as writer:
        for t_s in (3, 1, 2):
            writer.add(Row(PACK, t_s * S, [50.0 + t_s, 0.0]))
        writer.flush()
        assert values_of(store, "pack_voltage_v") == [51.0, 52.0, 53.0]
    assert values_of(store, "pack_voltage_v") == [51.0, 52.0, 53.0]


def test_a_value_outside_its_plausible_limits_is_missing_and_counted(store):
    with store.writer("boot-a") as writer:
        writer.add(Row(PACK, 0, [1500.0, 5000.0]))  # limits: 1000 V, 3000 A
        writer.add(Row(PACK, S, [math.inf, 1.0]))
        writer.add(Row(PACK, 2 * S, [51.0, -math.inf]))
    assert values_of(store, "pack_voltage_v") == [51.0]
    assert values_of(store, "pack_current_a") == [1.0]
    assert store.health()["refused"].value == {"pack_voltage_v": 2, "pack_current_a": 2}


def test_a_limit_itself_is_kept_even_when_rounding_puts_it_just_outside(store):
    share = Group("bms/1", ("pack_soc_frac",), (Quantum(0.01),))
    with store.writer("boot-a") as writer:
        writer.add(Row(share, 0, [100 * 0.01 + 1e-12]))
    assert values_of(store, "pack_soc_frac") == [1.0]


def test_times_are_kept_to_a_millisecond_in_the_tail_and_after(store):
    with store.writer("boot-a") as writer:
        writer.add(Row(PACK, 1_234_567, [50.0, 1.0]))
        writer.flush()
        assert store.read("pack_voltage_v", *ALL)[0].tolist() == [1_235_000]
    assert store.read("pack_voltage_v", *ALL)[0].tolist() == [1_235_000]


def test_times_are_kept_to_a_microsecond_where_asked(store):
    with store.writer("boot-a", time_step_us=1) as writer:
        writer.add(Row(PACK, 1_234_567, [50.0, 1.0]))
    assert store.read("pack_voltage_v", *ALL)[0].tolist() == [1_234_567]


def test_words_are_kept_with_the_next_commit(store):
    with store.writer("boot-a", flush_s=1e9) as w:
        w.tell("recorder", {"up": 1}, 5)
        w.tell("recorder", {"up": 2}, 6)
        assert store.health() == {}
        w.flush()
        assert (store.health()["recorder"].value, store.health()["recorder"].utc_us) == (
            {"up": 2},
            6,
        )
        w.tell("recorder", {"up": 3})
    assert store.health()["recorder"].value == {"up": 3}


def test_summary_is_the_same_from_sidecars_and_from_readings(store):
    rng = np.random.default_rng(5)
    v = np.round(rng.normal(51, 1, 5000), 2)
    with store.writer("boot-a") as writer:
        for k in range(0, 5000, 1000):
            part = slice(k, k + 1000)
            writer.add(Block(PACK, np.arange(k, k + 1000) * S, np.c_[v[part], v[part] * 0]))
            writer.seal()
        writer.add(Row(PACK, 5000 * S, [60.0, 0.0]))
        writer.flush()
        for start, end in ((0, 5000), (0, 6000), (500, 3500), (1000, 2000), (4990, 5001)):
            found = store.summary("pack_voltage_v", start * S, end * S)
            _, read = store.read("pack_voltage_v", start * S, end * S)
            assert found.count == len(read)
            assert (found.low, found.high) == (read.min(), read.max())
            assert found.mean == pytest.approx(read.mean(), rel=1e-12)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 200),  # ms after the one before
            st.one_of(st.none(), st.integers(0, 100_000)),
            st.one_of(st.none(), st.floats(-3000, 3000)),
            st.sampled_from(["add", "add", "add", "add", "flush", "seal", "merge", "reopen"]),
        ),
        max_size=60,
    )
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_is_written_is_read_back_in_whatever_state(acts):
    group = Group("any/1", ("pack_voltage_v", "pack_current_a"), (Quantum(0.01), Quantum()))
    wanted_v, wanted_a, t_us = [], [], 0
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(Path(folder) / "boat.log", write=True)
        writer = store.writer("boot-a")
        for step_ms, hundredths, current_a, act in acts:
            t_us += step_ms * 1000
            voltage_v = None if hundredths is None else hundredths / 100
            writer.add(Row(group, t_us, [voltage_v, current_a]))
            wanted_v += [] if voltage_v is None else [(t_us, voltage_v)]
            wanted_a += [] if current_a is None else [(t_us, current_a)]
            if act == "reopen":
                writer.close()
                writer = store.writer("boot-a")
            elif act != "add":
                getattr(writer, act)()
        writer.flush()
        for name, wanted in (("pack_voltage_v", wanted_v), ("pack_current_a", wanted_a)):
            got_us, got = store.read(name, *ALL)
            assert sorted(zip(got_us.tolist(), got.tolist(), strict=True)) == sorted(wanted)
            assert np.all(np.diff(got_us) >= 0)
            newest = store.last(name)
            assert (newest and newest[0]) == (wanted[-1][0] if wanted else None)
        writer.close()
        store.close()


def test_only_one_writer_at_a_time(store):
    with (
        store.writer("boot-a"),
        pytest.raises(StoreError, match="another recorder or replay"),
    ):
        store.writer("boot-b")
    store.writer("boot-b").close()


def test_a_store_open_for_reading_refuses_to_write(store):
    with Store.open(store.path) as reading, pytest.raises(StoreError, match="reading only"):
        reading.writer("boot-a")


def test_several_threads_read_while_one_writes(store):
    errors = []

    def look():
        try:
            for _ in range(30):
                t_us, values = store.read("pack_voltage_v", *ALL)
                assert len(t_us) == len(values)
                assert np.all(np.diff(t_us) == S)
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=look) for _ in range(3)]
    with store.writer("boot-a") as writer:
        for thread in threads:
            thread.start()
        for k, row in enumerate(rows(300)):
            writer.add(row)
            (writer.seal if k % 50 == 49 else writer.flush)()
        for thread in threads:
            thread.join()
    assert not errors


def test_a_read_only_copy_on_a_read_only_medium_can_be_read(store, tmp_path):
    with store.writer("boot-a") as writer:
        for row in rows(10):
            writer.add(row)
    store.close()
    folder = tmp_path / "medium"
    folder.mkdir()
    copy = folder / "boat.log"
    copy.write_bytes(store.path.read_bytes())
    copy.chmod(0o444)
    folder.chmod(0o555)
    try:
        with Store.open(copy) as reading:
            assert len(values_of(reading, "pack_voltage_v")) == 10
    finally:
        folder.chmod(0o755)
