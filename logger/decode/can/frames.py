"""CAN frames in batches, as recordings and buses hand them over."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

EXTENDED = 1 << 31  # set in an identifier of 29 bits, as in DBC files, by definition


@dataclass(slots=True)
class FrameBatch:
    """Frames in order of arrival. All arrays have n rows.

    Args:
        t_us: int64 [µs]
        ids: uint32, with bit 31 set for 29-bit identifiers.
        lengths: uint8, bytes of data in each frame.
        data: uint8, shape (n, 8) or (n, 64), zero beyond each frame's length.
        buses: uint16, number of the bus in `names`.
        names: The recording's own names for its buses.
    """

    t_us: npt.NDArray[np.int64]
    ids: npt.NDArray[np.uint32]
    lengths: npt.NDArray[np.uint8]
    data: npt.NDArray[np.uint8]
    buses: npt.NDArray[np.uint16]
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.t_us)

    def picked(self, which: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> "FrameBatch":
        """The chosen frames as a batch."""
        return FrameBatch(
            self.t_us[which],
            self.ids[which],
            self.lengths[which],
            self.data[which],
            self.buses[which],
            self.names,
        )


def identifier_words(can_id: int) -> str:
    """An identifier as people write it: three hexadecimal digits of 11 bits, eight of 29."""
    return f"{can_id & ~EXTENDED:08X}" if can_id & EXTENDED else f"{can_id:03X}"


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame, for readers that have no batches."""

    t_us: int
    can_id: int  # with EXTENDED
    data: bytes
    bus: str


def batch_of(frames: list[Frame]) -> FrameBatch:
    """Single frames as a batch."""
    n = len(frames)
    names: dict[str, int] = {}
    width = 64 if any(len(f.data) > 8 for f in frames) else 8
    data = np.zeros((n, width), np.uint8)
    for row, frame in enumerate(frames):
        data[row, : len(frame.data)] = np.frombuffer(frame.data, np.uint8)
    return FrameBatch(
        np.fromiter((f.t_us for f in frames), np.int64, n),
        np.fromiter((f.can_id for f in frames), np.uint32, n),
        np.fromiter((len(f.data) for f in frames), np.uint8, n),
        data,
        np.fromiter((names.setdefault(f.bus, len(names)) for f in frames), np.uint16, n),
        tuple(names),
    )


def joined(parts: list[FrameBatch]) -> FrameBatch:
    """Batches put together and sorted by time; equal times keep their order."""
    names: dict[str, int] = {}
    width = max(part.data.shape[1] for part in parts)
    buses, data = [], []
    for part in parts:
        place = [names.setdefault(name, len(names)) for name in part.names]
        buses.append(np.array(place or [0], np.uint16)[part.buses])
        pad = width - part.data.shape[1]
        data.append(np.pad(part.data, ((0, 0), (0, pad))) if pad else part.data)
    whole = FrameBatch(
        np.concatenate([p.t_us for p in parts]),
        np.concatenate([p.ids for p in parts]),
        np.concatenate([p.lengths for p in parts]),
        np.concatenate(data),
        np.concatenate(buses),
        tuple(names),
    )
    if np.all(whole.t_us[1:] >= whole.t_us[:-1]):
        return whole
    return whole.picked(np.argsort(whole.t_us, kind="stable"))
