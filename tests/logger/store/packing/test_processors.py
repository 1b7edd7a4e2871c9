"""Logs of computers that cannot run pcodec, and of those that can, each read by the other.

What is expected comes from outside: the numbers that were packed, or pcodec itself.
"""

import struct
import sys
from contextlib import suppress

import numpy as np
import pcodec
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from pcodec import ChunkConfig, DeltaSpec, standalone

from logger.errors import StoreError
from logger.store import Store
from logger.store.packing import codec, pco_reader, processor, squeeze
from logger.store.packing.pco_bits import PcoError, spread
from tests.support.stored import ALL, rows

numbers = st.one_of(
    hnp.arrays(np.int32, st.integers(0, 700), elements=st.integers(-(2**31), 2**31 - 1)),
    hnp.arrays(np.int64, st.integers(0, 700), elements=st.integers(-(2**63), 2**63 - 1)),
    hnp.arrays(np.int64, st.integers(0, 700), elements=st.integers(-40, 40)),
    hnp.arrays(np.int64, st.integers(0, 700), elements=st.sampled_from([-(2**50), 7, 2**60])),
    hnp.arrays(np.float64, st.integers(0, 700), elements=st.floats(width=64)),
    hnp.arrays(np.float64, st.integers(0, 700), elements=st.floats(width=32)),
    hnp.arrays(np.int16, st.integers(0, 700)).map(lambda q: q * 0.1),
    hnp.arrays(np.int16, st.integers(0, 700)).map(lambda q: np.cumsum(q, dtype=np.int64) * 100 + 7),
    hnp.arrays(np.int8, st.integers(0, 700)).map(lambda q: np.cumsum(q, dtype=np.int32)),
)


@pytest.fixture
def old(monkeypatch: pytest.MonkeyPatch):
    """Says from now on that this processor cannot run pcodec, or (False) that it can."""

    def tell(is_old: bool = True) -> None:
        monkeypatch.setattr(codec, "runs_pcodec", lambda: not is_old)
        # To load it would end the program there: here it raises.
        monkeypatch.setitem(sys.modules, "pcodec", None if is_old else pcodec)

    return tell


@given(numbers)
def test_squeezed_numbers_come_back_to_the_last_bit(array):
    back = squeeze.unpack(squeeze.pack(array))
    assert back.dtype == array.dtype
    assert back.tobytes() == array.tobytes()


@given(numbers, st.integers(0, 3))
def test_pcodec_s_bytes_are_read_as_pcodec_reads_them(array, order):
    data = standalone.simple_compress(
        array, ChunkConfig(delta_spec=DeltaSpec.try_consecutive(order))
    )
    back = pco_reader.read(data)
    theirs = standalone.simple_decompress(data)
    if array.size:  # of nothing pcodec says nothing
        assert back.dtype == theirs.dtype
        assert back.tobytes() == theirs.tobytes() == array.tobytes()


@pytest.mark.parametrize("count", [255, 256, 257, 512, 513, 70_000, 131_072])
@pytest.mark.parametrize("order", [0, 1, 2])
def test_long_ones_too(count, order):
    chance = np.random.default_rng(count)
    steps = np.cumsum(chance.integers(-9, 10, count))
    noise = chance.normal(0, 1, count)
    for array in (steps, steps.astype(np.int32), steps * 0.01, noise, np.exp(9 * noise)):
        config = ChunkConfig(delta_spec=DeltaSpec.try_consecutive(order))
        data = standalone.simple_compress(array, config)
        assert pco_reader.read(data).tobytes() == array.tobytes()
        assert squeeze.unpack(squeeze.pack(array)).tobytes() == array.tobytes()


def test_symbols_are_spread_as_the_format_says():
    # the worked example in pco/src/ans/spec.rs, ans_spec_new
    table = spread(4, [1, 1, 3, 11])
    assert [row[0] for row in table] == [0, 3, 2, 3, 2, 3, 3, 3, 3, 1, 3, 2, 3, 3, 3, 3]
    with pytest.raises(PcoError, match="add up"):
        spread(4, [1, 1, 3, 12])


@settings(max_examples=400)
@given(numbers, st.data())
def test_spoiled_bytes_are_refused_or_give_numbers(array, data):
    packed = [standalone.simple_compress(array, ChunkConfig()), squeeze.pack(array)]
    for whole, read in zip(packed, (pco_reader.read, squeeze.unpack), strict=True):
        spoiled = bytearray(whole)
        for _ in range(data.draw(st.integers(1, 3))):
            place = data.draw(st.integers(0, len(spoiled) - 1))
            spoiled[place] = data.draw(st.integers(0, 255))
        spoiled = spoiled[: data.draw(st.integers(0, len(spoiled)))]
        with suppress(PcoError, squeeze.SqueezeError):
            read(bytes(spoiled))


def test_a_frame_that_claims_more_than_it_should_is_not_unpacked():
    bomb = zstandard.ZstdCompressor().compress(bytes(50_000_000))
    for count in (10, squeeze.MOST + 1, 2**32 - 1):
        with pytest.raises(squeeze.SqueezeError):
            squeeze.unpack(struct.pack("<4scBI", squeeze.BEGIN, b"q", 0, count) + bomb)


@pytest.mark.parametrize("first", [True, False])
def test_a_log_of_one_processor_opens_on_the_other_and_goes_on(tmp_path, old, first):
    log = tmp_path / "log.sqlite"
    for is_old, start in ((first, 0), (not first, 7200)):
        old(is_old)
        with Store.open(log, write=True) as store, store.writer("boot-a") as writer:
            for hour in range(2):
                for row in rows(600, start=start + hour * 3600):
                    writer.add(row)
                writer.seal()
    wanted = [row.values[0] for hour in range(4) for row in rows(600, start=hour * 3600)]
    with Store.open(log, write=True) as store:
        codecs = store._db.execute("SELECT DISTINCT codec FROM chunk ORDER BY 1").fetchall()
        assert codecs == [("pco 1",), ("zst 1",)]
        for is_old in (True, False):
            old(is_old)
            _, values = store.read("pack_voltage_v", *ALL)
            assert np.allclose(values, wanted, atol=1e-9, rtol=0)
        old(first)
        with store.writer("boot-a") as writer:
            writer.merge()
        assert len(store._db.execute("SELECT codec FROM chunk").fetchall()) == 1
    for is_old in (True, False):
        old(is_old)
        with Store.open(log) as store:
            _, values = store.read("pack_voltage_v", *ALL)
            assert np.allclose(values, wanted, atol=1e-9, rtol=0)


def test_another_codec_is_named(tmp_path, old):
    log = tmp_path / "log.sqlite"
    with Store.open(log, write=True) as store:
        with store.writer("boot-a") as writer:
            for row in rows(10):
                writer.add(row)
            writer.seal()
        store._db.execute("UPDATE chunk SET codec = 'new 7'")
        with pytest.raises(StoreError, match=r"'new 7'.*'pco 1' and 'zst 1'"):
            store.read("pack_voltage_v", *ALL)


def test_an_old_processor_is_told_by_what_linux_says_of_it(tmp_path):
    listed = tmp_path / "cpuinfo"
    for flags, able in (
        ("fpu sse4_2 avx", False),  # as Sandy Bridge (from memory)
        ("fpu avx2 bmi1", False),
        ("fpu avx2 bmi1 bmi2", True),
    ):
        listed.write_text(f"processor\t: 0\nflags\t\t: {flags}\n\n" * 2)
        assert processor.can("x86_64", listed) is able
        assert processor.can("aarch64", listed) is True
    assert processor.can("x86_64", tmp_path / "none") is True


def test_without_pcodec_at_all_everything_works(old):
    old()
    codec.works()
    assert codec.codec_now() == "zst 1"
