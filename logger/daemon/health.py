"""What the daemon knows about itself, as channels of the log and as words for `check`."""

import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.daemon.feed import Feed
from logger.reading import EXACT, Group, Row

USUAL_BITRATE = 250_000  # NMEA 2000's


class Health:
    """Builds rows of health channels.

    Args:
        log_path: The log, whose disk is watched.
        bitrates: Source -> bits a second of its bus, for those that are buses.
    """

    def __init__(self, log_path: Path, bitrates: Mapping[str, float] | None = None) -> None:
        self._folder = log_path.parent
        self._bitrates = dict(bitrates or {})
        self._groups: dict[str, Group] = {}
        self._written_at_start = card_bytes_written(self._folder)
        self._bits: dict[str, tuple[int, int]] = {}  # source -> time [µs] and bits so far

    def rows(
        self, feeds: list[Feed], t_us: int, waiting: int, lag_s: float, dropped: int = 0
    ) -> list[Row]:
        """One row per source, and one for the daemon.

        Args:
            waiting: Batches between sources and writer.
            lag_s: From a reading's arrival to the writer.
            dropped: Readings that the writer could not keep.
        """
        rows = []
        for feed in feeds:
            found = self._of_source(feed, t_us)
            names = tuple(f"health_{feed.name}_{what}" for what in found)
            rows.append(Row(self._group(feed.name, names), t_us, list(found.values())))
        usage = shutil.disk_usage(self._folder)
        written = card_bytes_written(self._folder)
        since = None
        if written is not None and self._written_at_start is not None:
            since = float(written - self._written_at_start)
        own = {
            "health_log_disk_left_frac": usage.free / usage.total,
            "health_log_card_written_count": since,
            "health_log_waiting_count": float(waiting),
            "health_log_lag_s": lag_s,
            "health_log_dropped_count": float(dropped),
        }
        return [*rows, Row(self._group("log", tuple(own)), t_us, list(own.values()))]

    def _of_source(self, feed: Feed, t_us: int) -> dict[str, float | None]:
        counters = feed.counters
        found: dict[str, float | None] = {
            "frames_count": float(counters["frames"]),
            "errors_count": float(counters.faults()),
            "reconnects_count": float(counters["reconnects"]),
            "dropped_count": float(counters["dropped"]),
        }
        if feed.name in self._bitrates:
            found["bus_errors_count"] = float(counters["error_frame"])
            found["bus_load_frac"] = self._load(feed, t_us)
        return found

    def _load(self, feed: Feed, t_us: int) -> float | None:
        """Share of the bus's time that frames took since the last row."""
        bits = feed.counters["bus_bits"]
        then_us, before = self._bits.get(feed.name, (t_us, bits))
        self._bits[feed.name] = t_us, bits
        if t_us <= then_us:
            return None
        return min((bits - before) / self._bitrates[feed.name] / (t_us - then_us) * 1e6, 1.5)

    def words(self, feeds: list[Feed]) -> dict[str, Any]:
        """All counters by source, for `check` and the API."""
        return {
            feed.name: {"up": feed.up, "trouble": feed.trouble, **feed.counters.as_dict()}
            for feed in feeds
        }

    def _group(self, name: str, channels: tuple[str, ...]) -> Group:
        if name not in self._groups:
            self._groups[name] = Group(f"health/{name}", channels, (EXACT,) * len(channels))
        return self._groups[name]


def card_bytes_written(folder: Path, sys_root: Path = Path("/sys")) -> int | None:
    """Bytes written so far to the block device that holds a folder; None where unknown."""
    try:
        device = os.stat(folder).st_dev
        stat = sys_root / f"dev/block/{os.major(device)}:{os.minor(device)}/stat"
        return int(stat.read_text().split()[6]) * 512  # sectors written, Documentation/block/stat
    except (OSError, IndexError, ValueError):
        return None
