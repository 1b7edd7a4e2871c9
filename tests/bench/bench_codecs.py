"""The compressor for every processor beside pcodec: bytes and time, as ratios within one run.

Run by name: `python -m pytest -s tests/bench/bench_codecs.py`. The readings are bench_store's.
"""

import time

import numpy as np
from pcodec import standalone

from logger.quantum import quantise
from logger.store.packing import codec, pco_reader, squeeze
from tests.bench.bench_store import boat_day

SECONDS = 20_000


def columns():
    """What goes to the compressor of a boat's hours: times and quantised readings."""
    found = []
    for group, t_us, values in boat_day(SECONDS):
        found.append(codec.narrow((t_us - t_us[0]) // 1000))
        for k, quantum in enumerate(group.quanta):
            present = values[~np.isnan(values[:, k]), k]
            q = quantise(present, quantum)
            found.append(present if q is None else codec.narrow(q))
    return found


def timed(act, things):
    began_s = time.perf_counter()
    done = [act(thing) for thing in things]
    return done, time.perf_counter() - began_s


def test_size_and_time_beside_pcodec():
    arrays = columns()
    packed, pack_s = timed(codec.smallest, arrays)
    _, unpack_s = timed(standalone.simple_decompress, packed)
    squeezed, squeeze_s = timed(squeeze.pack, arrays)
    back, unsqueeze_s = timed(squeeze.unpack, squeezed)
    read, read_s = timed(pco_reader.read, packed)
    for mine, again, theirs in zip(arrays, back, read, strict=True):
        assert mine.tobytes() == again.tobytes() == theirs.tobytes()
    bytes_ratio = sum(map(len, squeezed)) / sum(map(len, packed))
    rows_per_s = sum(map(len, arrays)) / read_s
    print(
        f"\nsqueezed: {bytes_ratio:.3f} of pcodec's bytes, {squeeze_s / pack_s:.2f} of its time to "
        f"pack, {unsqueeze_s / unpack_s:.1f} to unpack; pcodec's bytes read without it: "
        f"{read_s / unpack_s:.0f} times its time, {rows_per_s / 1e6:.2f} million readings a second"
    )
    assert bytes_ratio < 1.25
    assert squeeze_s < 4 * pack_s
