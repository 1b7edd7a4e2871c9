"""ASC, BLF and TRC files as python-can writes them, through the same decoder as candump text."""

from pathlib import Path

import can
import pytest

from logger.decode.can.bus import BusDecoder
from logger.decode.can.dbc import DbcDecoder
from logger.decode.counters import Counters
from logger.errors import RecordingError
from logger.reading import Block
from logger.sources.recordings.can_recording import CanRecording
from logger.sources.recordings.recording import kind_of

DBC = (
    'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'
    'BO_ 300 Pack: 4 A\n SG_ Volts : 0|16@1+ (0.01,0) [0|0] "V" A\n'
    ' SG_ Amps : 16|16@1- (0.1,0) [0|0] "A" A\n'
)


def messages() -> list[can.Message]:
    return [
        can.Message(
            timestamp=1_700_000_000 + k / 10,
            arbitration_id=300,
            is_extended_id=False,
            data=(5000 + k).to_bytes(2, "little") + (-k).to_bytes(2, "little", signed=True),
            channel=0,
            is_rx=True,
        )
        for k in range(50)
    ]


def blocks(path: Path, tmp_path: Path) -> tuple[CanRecording, list[Block]]:
    (tmp_path / "pack.dbc").write_text(DBC)
    counters = Counters("can0")
    signals = {"Pack.Volts": "pack_voltage_v", "Pack.Amps": "pack_current_a"}
    found = DbcDecoder(tmp_path / "pack.dbc", "can0", counters, signals)
    recording = CanRecording(path, kind_of(path), {"": BusDecoder([found], counters)}, counters)
    items = []
    while (batch := recording.batch()) is not None:
        items += [item for item in batch if isinstance(item, Block)]
    return recording, items


@pytest.mark.parametrize("ending", ["asc", "blf", "log", "trc"])
def test_every_format_gives_the_same_values(tmp_path: Path, ending: str):
    path = tmp_path / f"trip.{ending}"
    with can.Logger(path) as writer:
        for message in messages():
            writer.on_message_received(message)
    recording, (block,) = blocks(path, tmp_path)
    assert block.group.channels == ("pack_voltage_v", "pack_current_a")
    assert block.values[:, 0].tolist() == [(5000 + k) / 100 for k in range(50)]
    assert block.values[:, 1].tolist() == [-k / 10 for k in range(50)]
    steps = [(int(t) - int(block.t_us[0])) for t in block.t_us]
    assert steps == [k * 100_000 for k in range(50)]
    assert recording.fraction == 1.0
    if ending != "asc":  # ASC files tell local time, without saying which
        assert recording.origin_us == 0
        assert block.t_us[0] == 1_700_000_000_000_000


def test_broken_blf_is_named(tmp_path: Path):
    path = tmp_path / "trip.blf"
    path.write_bytes(b"LOGG" + bytes(40))
    with pytest.raises(RecordingError, match=r"trip\.blf: wants an ASC or BLF file"):
        blocks(path, tmp_path)


def test_blf_torn_at_the_end_is_read_up_to_the_tear(tmp_path: Path):
    path = tmp_path / "trip.blf"
    with can.BLFWriter(path, max_container_size=512) as writer:
        for message in messages():
            writer.on_message_received(message)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) * 2 // 3])
    _, items = blocks(path, tmp_path)
    assert 5 < sum(len(block.t_us) for block in items) < 50
