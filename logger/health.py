"""What the daemon knows about itself, as channels of the log and as words for `check`."""

import os
import shutil
from pathlib import Path
from typing import Any

from logger.feeding import Feed
from logger.sources.source import EXACT, Group, Row

SHOWN = ("frames", "errors", "reconnects", "dropped")


class Health:
    """Builds rows of health channels.

    Args:
        log_path: The log, whose disk is watched.
    """

    def __init__(self, log_path: Path) -> None:
        self._folder = log_path.parent
        self._groups: dict[str, Group] = {}
        self._written_at_start = card_bytes_written(self._folder)

    def rows(self, feeds: list[Feed], t_us: int, waiting: int, lag_s: float) -> list[Row]:
        """One row per source, and one for the daemon."""
        rows = []
        for feed in feeds:
            values: list[float | None] = [float(n) for n in self._counts(feed).values()]
            names = tuple(f"health_{feed.name}_{what}_count" for what in SHOWN)
            rows.append(Row(self._group(feed.name, names), t_us, values))
        usage = shutil.disk_usage(self._folder)
        written = card_bytes_written(self._folder)
        since = None
        if written is not None and self._written_at_start is not None:
            since = float(written - self._written_at_start)
        names = (
            "health_log_disk_left_frac",
            "health_log_card_written_count",
            "health_log_waiting_count",
            "health_log_lag_s",
        )
        own = [usage.free / usage.total, since, float(waiting), lag_s]
        return [*rows, Row(self._group("log", names), t_us, own)]

    def words(self, feeds: list[Feed]) -> dict[str, Any]:
        """All counters by source, for `check` and the API."""
        return {
            feed.name: {"up": feed.up, "trouble": feed.trouble, **feed.counters.as_dict()}
            for feed in feeds
        }

    @staticmethod
    def _counts(feed: Feed) -> dict[str, int]:
        counters = feed.counters
        refused = counters.errors()
        refused.pop("dropped", None)
        found = {"frames": counters["frames"], "errors": sum(refused.values())}
        return {what: found.get(what, counters[what]) for what in SHOWN}

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
