"""The newest stretch of a log, kept as one table: against all its chunks put together."""

import numpy as np
import pytest

from analyzer.flags.recent import Recent
from analyzer.flags.reserve import joined
from analyzer.series.series import Series

CHANNELS = ("a", "b", "c")
STEP_S, MEMORY_S = 5.0, 600.0


def chunk(t0_us: int, n: int, names: tuple[str, ...], rng: np.random.Generator) -> Series:
    """Some seconds of some channels, holes in them."""
    values = {name: np.where(rng.random(n) < 0.1, np.nan, rng.random(n)) for name in names}
    return Series(t0_us, 1.0, n, {**values, "not kept": np.zeros(n)})


def thinned(one: Series) -> Series:
    """Every fifth reading of the channels that are kept."""
    values = {k: v[::5] for k, v in one.values.items() if k in CHANNELS}
    return Series(one.t0_us, STEP_S, len(range(0, one.n, 5)), values)


@pytest.mark.parametrize("seed", range(4))
def test_recent_is_what_all_chunks_that_began_lately_make(seed):
    # put together anew from every chunk each time: the plain way
    rng = np.random.default_rng(seed)
    recent, kept, t0_us = Recent(CHANNELS, STEP_S, MEMORY_S), [], 10**15
    for _ in range(300):
        n = int(rng.choice([10, 20, 60, 800]))
        names = tuple(name for name in CHANNELS if rng.random() < 0.7)
        kept.append(chunk(t0_us, n, names, rng))
        recent.add(kept[-1])
        for within_s in (60.0, MEMORY_S + 1e-6):
            newest_us = kept[-1].t0_us
            last = [c for c in kept if newest_us - c.t0_us < within_s * 1e6]
            expected = joined([thinned(c) for c in last])
            got = recent.last(within_s if within_s < MEMORY_S else None)
            assert (got.t0_us, got.step_s, got.n) == (expected.t0_us, STEP_S, expected.n)
            assert got.values.keys() == expected.values.keys()
            for name, values in expected.values.items():
                np.testing.assert_array_equal(got.values[name], values)
        t0_us += 1_000_000 * (n + int(rng.choice([0, 0, 0, 0, 30, 5000])))


def test_what_is_given_is_no_view_of_what_is_kept():
    recent = Recent(CHANNELS, STEP_S, MEMORY_S)
    rng = np.random.default_rng(1)
    recent.add(chunk(0, 60, CHANNELS, rng))
    before = recent.last()
    recent.last().values["a"][:] = 7.0
    np.testing.assert_array_equal(recent.last().values["a"], before.values["a"])
