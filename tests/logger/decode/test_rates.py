"""Thinning what comes too often."""

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from logger.decode.can.bus import BusDecoder
from logger.decode.can.canopen_node import CanopenDecoder
from logger.decode.can.dbc import DbcDecoder
from logger.decode.can.frames import EXTENDED, Frame, batch_of
from logger.decode.can.pgn import PgnDecoder
from logger.decode.counters import Counters
from logger.decode.rates import Rates
from logger.reading import Block, Row


def kept_times(times: list[int], most_hz: float, at_once: int = 7) -> list[int]:
    rates, t_us, found = Rates(most_hz), np.array(times, np.int64), []
    for start in range(0, len(times), at_once):
        rows = np.arange(start, min(start + at_once, len(times)))
        found += t_us[rates.kept(5, rows, t_us)].tolist()
    return found


def test_regular_sender_is_kept_at_the_rate():
    times = [k * 10_000 for k in range(1000)]  # 100 a second for 10 s
    assert kept_times(times, 10.0) == [k * 100_000 for k in range(100)]


def test_slow_sender_keeps_every_frame():
    times = [k * 333_000 for k in range(50)]
    assert kept_times(times, 10.0) == times


@given(
    gaps=st.lists(st.integers(0, 300_000), min_size=2, max_size=200),
    most_hz=st.sampled_from([1.0, 10.0, 33.0]),
)
def test_never_more_than_the_rate(gaps: list[int], most_hz: float):
    times = np.cumsum(gaps).tolist()
    found = kept_times(times, most_hz)
    elapsed_s = (times[-1] - times[0]) / 1e6
    assert 1 <= len(found) <= elapsed_s * most_hz + 1 + 1e-6 * len(found) * most_hz


def test_spared_identifiers():
    assert Rates(1.0, frozenset({7})).spares(7)
    assert not Rates(1.0, frozenset({7})).spares(8)


def live(decoder: BusDecoder, frames: list[Frame]) -> list[tuple[str, float | None]]:
    """What comes out of moments of 0.2 s: channel and value, of each reading."""
    found: list[tuple[str, float | None]] = []
    frames = sorted(frames, key=lambda frame: frame.t_us)
    for start in range(0, frames[-1].t_us + 1, 200_000):
        moment = [f for f in frames if start <= f.t_us < start + 200_000]
        for item in decoder.feed_live(batch_of(moment)) if moment else []:
            if isinstance(item, Row):
                found.append((item.group.channels[0], item.values[0]))
            elif isinstance(item, Block):
                found += [(item.group.channels[0], v) for v in item.values[:, 0].tolist()]
    return found


def test_fast_packets_are_put_together_before_they_are_thinned():
    # Reference values 4.3, 127506 in two frames: SOC 76 %; sent 50 times in 5 s here.
    counters = Counters("can0")
    decoder = BusDecoder([PgnDecoder("can0", counters)], counters, Rates(2.0))
    frames = []
    for k in range(50):
        lead = (k % 8) << 5
        for number, text in enumerate(("0B070000 4C625F", "000C00C8 00FFFF")):
            data = bytes([lead | number]) + bytes.fromhex(text)
            frames.append(Frame(k * 100_000 + number * 500, 0x19F21221 | EXTENDED, data, "can0"))
    found = [v for name, v in live(decoder, frames) if name == "pack_soc_frac"]
    assert found == [0.76] * 10
    assert counters["lost_packet"] == 0


def test_messages_that_take_turns_are_all_kept(tmp_path: Path):
    """One identifier, four messages in turn, each ten times a second."""
    lines = ['VERSION ""', "NS_ :", "BS_:", "BU_: A", "BO_ 256 M: 8 A"]
    lines.append(' SG_ Which M : 0|8@1+ (1,0) [0|0] "" A')
    lines += [f' SG_ S{m} m{m} : 8|8@1+ (1,0) [0|0] "" A' for m in range(4)]
    (tmp_path / "x.dbc").write_text("\n".join(lines) + "\n")
    counters = Counters("can0")
    one = DbcDecoder(tmp_path / "x.dbc", "can0", counters)
    decoder = BusDecoder([one], counters, Rates(10.0))
    frames = [Frame(k * 25_000, 256, bytes([k % 4, k // 4, *bytes(6)]), "can0") for k in range(400)]
    found = live(decoder, frames)
    for m in range(4):
        assert [v for name, v in found if name == f"other_m_s{m}_count"] == list(range(100))


def test_two_instances_of_one_sender_are_both_kept():
    counters = Counters("can0")
    decoder = BusDecoder([PgnDecoder("can0", counters)], counters, Rates(1.0))
    frames = [
        Frame(k * 100_000, 0x19F21421 | EXTENDED, bytes([k % 2, *bytes.fromhex("0014ABFC777407")]),
              "can0")
        for k in range(40)
    ]  # fmt: skip
    found = live(decoder, frames)
    assert len({name for name, _ in found}) == 2
    assert all(
        4 <= sum(name == one for name, _ in found) <= 5 for one in {name for name, _ in found}
    )


def test_emergencies_are_never_thinned(tmp_path: Path):
    (tmp_path / "x.eds").write_text(
        "[FileInfo]\nFileName=x.eds\n\n[DeviceInfo]\nVendorName=x\n\n"
        "[1000]\nParameterName=Kind\nObjectType=0x7\nDataType=0x7\nAccessType=ro\n"
    )
    counters = Counters("can0")
    node = CanopenDecoder(tmp_path / "x.eds", 5, "can0", counters)
    decoder = BusDecoder([node], counters, Rates(1.0))
    frames = [Frame(k * 10_000, 0x085, bytes([k, 0x20, 2, *bytes(5)]), "can0") for k in range(30)]
    found = [v for name, v in live(decoder, frames) if name == "other_canopen_5_emergency_code"]
    assert found == [0x2000 + k for k in range(30)]
