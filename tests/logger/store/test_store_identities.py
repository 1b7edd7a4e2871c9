"""A log in whatever state against numpy on the raw readings: tail, chunks, joined and thinned."""

import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.reading import (
    EXACT,
    Block,
    Group,
    Quantum,
    UtcFix,
)
from logger.store import Store, Writer

S = 1_000_000
DAY_S = 86400
ALL = -(2**62), 2**62
# Not whole days, so that days of UTC and of the boot's clock differ; whole tens of seconds.
UTC_US = 1_782_887_400 * S
NAMES = ("pack_voltage_v", "pack_current_a")
GROUP = Group("any/1", NAMES, (Quantum(0.01), EXACT))
OTHER = Group("any/2", NAMES[:1], (Quantum(0.01),))


@dataclass
class Raw:
    """What has been written, as one would keep it in a notebook: boot's clock, values."""

    t_us: list[int] = field(default_factory=list)
    values: dict[str, list[float]] = field(default_factory=lambda: {n: [] for n in NAMES})

    def of(self, name: str, start_us: int, end_us: int) -> tuple[np.ndarray, np.ndarray]:
        """Times on the timeline, and values, those that are there in [start, end); by time."""
        t_us, values = np.array(self.t_us, np.int64) + UTC_US, np.array(self.values[name], float)
        keep = np.isfinite(values) & (t_us >= start_us) & (t_us < end_us)
        order = np.lexsort((values[keep], t_us[keep]))
        return t_us[keep][order], values[keep][order]


def write(writer: Writer, raw: Raw, group: Group, t_ms: np.ndarray, values: np.ndarray) -> None:
    """A block of rows, to the log and to the notebook; times in any order."""
    order = np.argsort(t_ms, kind="stable")
    t_us, values = t_ms[order].astype(np.int64) * 1000, values[order][:, : len(group.channels)]
    writer.add(Block(group, t_us, values))
    raw.t_us += t_us.tolist()
    for k, name in enumerate(NAMES):
        whole = values[:, k] if k < len(group.channels) else np.full(len(t_us), np.nan)
        raw.values[name] += whole.tolist()


BATCH = st.tuples(
    st.integers(0, 2**31 - 1),  # seed of its rows
    st.integers(1, 25),
    st.integers(0, 3600),  # where it lies: batches overlap and repeat each other's times
    st.integers(1, 300),
    st.sampled_from([GROUP, GROUP, GROUP, OTHER]),
    st.sampled_from(["", "", "flush", "seal", "seal", "merge", "reopen"]),
)
RANGES = st.lists(st.tuples(st.integers(-10, 4000), st.integers(0, 4000)), min_size=3, max_size=6)


def batch(seed: int, n: int, start_s: int, span_s: int) -> tuple[np.ndarray, np.ndarray]:
    """Rows of two channels, some missing; times to the second, so that some fall together."""
    rng = np.random.default_rng(seed)
    t_ms = 1000 * (start_s + rng.integers(0, span_s, n))
    values = np.column_stack([np.round(rng.uniform(40, 60, n), 2), rng.normal(0, 50, n)])
    values[rng.random((n, 2)) < 0.15] = np.nan
    return t_ms, values


@given(st.lists(BATCH, min_size=1, max_size=10), RANGES)
@settings(max_examples=50)
def test_any_range_of_any_state_is_numpy_on_the_raw_readings(batches, ranges):
    raw = Raw()
    with (
        tempfile.TemporaryDirectory() as folder,
        Store.open(Path(folder) / "boat.log", write=True) as store,
    ):
        writer = store.writer("boot-a", flush_s=1e9, seal_s=1e9)
        writer.add(UtcFix(0, UTC_US, "file", 1.0))
        for seed, n, start_s, span_s, group, act in batches:
            write(writer, raw, group, *batch(seed, n, start_s, span_s))
            if act == "reopen":
                writer.close()
                writer = store.writer("boot-a", flush_s=1e9, seal_s=1e9)
            elif act:
                getattr(writer, act)()
        writer.flush()
        at_us = sorted(raw.t_us)  # ends that are a reading's own time, and a chunk's
        edges = [(UTC_US + at_us[0], UTC_US + t) for t in at_us[:: len(at_us) // 4 + 1]]
        ends = [t for (t,) in store._db.execute("SELECT last_us FROM chunk LIMIT 3")]
        edges += [(UTC_US - S, UTC_US + t) for t in ends]
        told = [(UTC_US + a * S, UTC_US + (a + span) * S) for a, span in [*ranges, (-10, 10**6)]]
        for stretch in told + edges:
            for name in NAMES:
                agree(store, raw, name, stretch)
        writer.close()


def agree(store: Store, raw: Raw, name: str, stretch: tuple[int, int]) -> None:
    """Readings, summary and extremes of a stretch of full readings; doubled ones stay doubled."""
    want_us, want = raw.of(name, *stretch)
    got_us, got = store.read(name, *stretch)
    assert np.all(np.diff(got_us) >= 0)
    order = np.lexsort((got, got_us))
    np.testing.assert_array_equal(got_us[order], want_us)
    np.testing.assert_array_equal(got[order], want)
    found = store.summary(name, *stretch)
    assert found.count == len(want)
    if len(want):
        assert (found.low, found.high) == (want.min(), want.max())
        assert found.mean == pytest.approx(want.mean(), rel=1e-12, abs=1e-12)
    else:
        assert (found.low, found.high, found.mean) == (None, None, None)
    at_us, low, mid, high = store.extremes(name, *stretch)
    np.testing.assert_array_equal(at_us, got_us)
    for side in (low, mid, high):
        np.testing.assert_array_equal(side, got)


@dataclass
class Points:
    """Cells of raw readings by numpy: mean time of all rows, then of one channel its readings'."""

    t_us: list[int]
    low: list[float]
    mean: list[float]
    high: list[float]


def cells(t_us: np.ndarray, values: np.ndarray, step_s: float) -> Points:
    """Cell by cell of `step_s` on the boot's clock; cells where the channel has nothing left out.

    The time of a point is the mean time of all rows of its cell, to a millisecond below.
    """
    out = Points([], [], [], [])
    number = t_us // round(step_s * S)
    for k in np.unique(number):
        inside = values[number == k]
        there = inside[np.isfinite(inside)]
        if len(there):
            out.t_us.append(int(np.floor(np.mean(t_us[number == k]) / 1000)) * 1000 + UTC_US)
            out.low.append(there.min())
            out.mean.append(there.mean())
            out.high.append(there.max())
    return out


THREE_DAYS = st.lists(
    st.tuples(
        st.integers(0, 2**31 - 1),
        st.integers(1, 60),
        st.integers(0, 2),  # day
        st.integers(0, 600),
        st.integers(1, 120),
        st.booleans(),  # sealed after it
    ),
    min_size=3,
    max_size=9,
)


@given(THREE_DAYS, st.sampled_from([10.0, 60.0]))
@settings(max_examples=40)
def test_a_read_across_thinned_joined_sealed_and_tail_is_numpy_s(batches, step_s):
    raw, old = Raw(), Raw()
    batches = sorted(batches, key=lambda b: b[2])  # days in order; within one they overlap
    cut_us = DAY_S * S - UTC_US % (DAY_S * S)  # midnight, UTC, on the boot's clock
    with (
        tempfile.TemporaryDirectory() as folder,
        Store.open(Path(folder) / "boat.log", write=True) as store,
        store.writer("boot-a", flush_s=1e9, seal_s=1e9) as writer,
    ):
        writer.add(UtcFix(0, UTC_US, "file", 1.0))
        for k, (seed, n, day, start_s, span_s, sealed) in enumerate(batches):
            t_ms, values = batch(seed, n, start_s, span_s)
            t_ms = t_ms + (cut_us // 1000 + (day - 1) * DAY_S * 1000) * (day > 0)
            last = k + 1 == len(batches) or batches[k + 1][2] != day
            if day == 2 and last:
                before = summaries(store, writer)
                done = writer.thin(UTC_US + cut_us, step_s=step_s)
                assert done == (1 if old.t_us else 0)
                assert before == summaries(store, writer)
            write(writer, raw, GROUP, t_ms, values)
            if day == 0:
                write_note(old, t_ms, values)
            if sealed or last:
                writer.flush() if day == 2 and last else writer.seal()
        if batches[-1][2] != 2:
            writer.thin(UTC_US + cut_us, step_s=step_s)
        for k, name in enumerate(NAMES):
            order = np.argsort(old.t_us, kind="stable")
            points = cells(
                np.array(old.t_us, np.int64)[order], np.array(old.values[name])[order], step_s
            )
            rest_us, rest = raw.of(name, UTC_US + cut_us, ALL[1])
            at_us, low, mid, high = store.extremes(name, *ALL)
            n_old = len(points.t_us)
            assert at_us.tolist() == points.t_us + rest_us.tolist()
            np.testing.assert_array_equal(low[:n_old], points.low)
            np.testing.assert_array_equal(high[:n_old], points.high)
            # A mean is kept at the channel's resolution: 0.01 V; currents bit for bit.
            off = 0.005 + 1e-9 if k == 0 else 1e-12
            np.testing.assert_allclose(mid[:n_old], points.mean, rtol=1e-12, atol=off)
            for side in (low, mid, high):
                np.testing.assert_array_equal(np.sort(side[n_old:]), np.sort(rest))
            whole, found = raw.of(name, *ALL)[1], store.summary(name, *ALL)
            assert found.count == len(whole)
            if len(whole):
                assert (found.low, found.high) == (whole.min(), whole.max())
                assert found.mean == pytest.approx(whole.mean(), rel=1e-12, abs=1e-12)
            got_us, got = store.read(name, *ALL)
            np.testing.assert_array_equal(got_us, at_us)
            np.testing.assert_array_equal(got, mid)


def summaries(store: Store, writer: Writer) -> list[object]:
    """Of both channels, over everything; what is joined adds up in another order."""
    writer.merge()
    return [store.summary(name, *ALL) for name in NAMES]


def write_note(raw: Raw, t_ms: np.ndarray, values: np.ndarray) -> None:
    order = np.argsort(t_ms, kind="stable")
    raw.t_us += (t_ms[order] * 1000).tolist()
    for k, name in enumerate(NAMES):
        raw.values[name] += values[order, k].tolist()


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(1, 60)), min_size=1, max_size=8))
@settings(max_examples=20)
def test_merging_leaves_one_chunk_of_each_day_and_group(batches):
    """Counted from the raw times; days are of UTC, by where a chunk begins."""
    raw, days = Raw(), set()
    cut_ms = (DAY_S * S - UTC_US % (DAY_S * S)) // 1000
    with (
        tempfile.TemporaryDirectory() as folder,
        Store.open(Path(folder) / "boat.log", write=True) as store,
        store.writer("boot-a", flush_s=1e9, seal_s=1e9) as writer,
    ):
        writer.add(UtcFix(0, UTC_US, "file", 1.0))
        for seed, (day, n) in enumerate(batches):
            t_ms, values = batch(seed, n, 0, 600)
            t_ms = t_ms + (cut_ms + (day - 1) * DAY_S * 1000) * (day > 0)
            write(writer, raw, GROUP, t_ms, values)
            days.add(day)
            writer.seal()
        writer.merge()
        (chunks,) = store._db.execute("SELECT count(*) FROM chunk").fetchone()
        assert chunks == len(days)
        for name in NAMES:
            agree(store, raw, name, ALL)


@pytest.mark.parametrize("most", [7, 8, 9])
def test_a_day_of_more_rows_than_a_chunk_holds_is_joined_in_several(store, monkeypatch, most):
    """Chunks of 4 rows: joined by twos where 8 or 9 fit, not at all where 7 do."""
    from logger.store.packing import chunks

    monkeypatch.setattr(chunks, "MOST_ROWS", most)
    raw = Raw()
    with store.writer("boot-a", flush_s=1e9, seal_s=1e9) as writer:
        writer.add(UtcFix(0, UTC_US, "file", 1.0))
        for k in range(6):
            t_ms, values = batch(k, 4, 10 * k, 10)
            write(writer, raw, GROUP, t_ms, values)
            writer.seal()
        writer.merge()
        counts = [n for (n,) in store._db.execute("SELECT count FROM chunk ORDER BY first_us")]
        assert counts == ([4] * 6 if most == 7 else [8] * 3)
        for name in NAMES:
            agree(store, raw, name, ALL)
