"""A whole fleet: each log once, what is known already left alone, results gathered.

Results are kept under OUT/known, one small file a log, named by the log's content and the
program's version: a run that was cut off goes on where it was, and a log that was moved or
copied is known where it is now.
"""

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from analyzer.fleet import keep, look, tables
from analyzer.fleet.compare import Likeness, concern
from analyzer.fleet.logs import LogRef
from analyzer.fleet.pool import Pool, Work

Record = dict[str, Any]


@dataclass
class Tally:
    """How a run went.

    seconds: of the processor, over all workers. peak_bytes: the most that one worker had.
    log_bytes: of the logs that were looked at. result_bytes: of their results.
    """

    total: int
    known: int = 0
    looked: int = 0
    skipped: dict[str, str] = field(default_factory=dict)
    seconds: float = 0.0
    peak_bytes: int = 0
    log_bytes: int = 0
    result_bytes: int = 0

    @property
    def done(self) -> int:
        """Logs that need no more work."""
        return self.known + self.looked + len(self.skipped)


Progress = Callable[[Tally], None]


@dataclass(frozen=True)
class Fleet:
    """Where the results of some logs are."""

    out: Path
    keys: dict[str, str]  # log -> key, those that were looked at, by name
    tally: Tally

    def records(self) -> Iterator[tuple[str, str, Record]]:
        """Log, key and record, one at a time."""
        for log, key in self.keys.items():
            yield log, key, json.loads(_known(self.out, key).read_text("utf-8"))

    def likeness(self) -> Likeness:
        """All boats gathered, for comparing."""
        like = Likeness()
        for log, _, record in self.records():
            like.add(record)
            pressing = concern(log, record, list(tables.findings(record)))
            if pressing:
                like.worry(pressing)
        return like

    def rows(self, like: Likeness) -> Iterator[tuple[str, tables.Row]]:
        """All rows with the names of their tables, by log."""
        for log, key, record in self.records():
            for name, some in tables.rows(log, key, record, like).items():
                for row in some:
                    yield name, row
        for log, reason in sorted(self.tally.skipped.items()):
            yield "skipped", {"log": log, "reason": reason}


def run(
    logs: list[LogRef], out: Path, pool: Pool, progress: Progress, work: Work = look.work
) -> Fleet:
    """Looks at every log that is not known yet.

    Args:
        out: Results are kept below it.
        progress: Told after each log.
    """
    tally = Tally(len(logs))
    keys: dict[str, str] = {}
    for log, outcome in pool.outcomes(_unknown(logs, out, keys, tally, progress), work):
        tally.seconds += outcome.seconds
        tally.peak_bytes = max(tally.peak_bytes, outcome.peak_bytes)
        reason = outcome.reason or _other_version(outcome)
        if outcome.record is None or reason:
            tally.skipped[log.where] = reason
            del keys[log.where]
        else:
            tally.looked += 1
            tally.log_bytes += outcome.log_bytes
            tally.result_bytes += _put(_known(out, keys[log.where]), outcome.record)
        progress(tally)
    return Fleet(out, dict(sorted(keys.items())), tally)


def write(fleet: Fleet, database: keep.Database | None = None) -> Likeness:
    """Writes the tables to OUT/*.parquet, or to a database; the boats beside each other."""
    like = fleet.likeness()
    if database is None:
        keep.to_parquet(fleet.out, fleet.rows(like))
    else:
        database.write([*fleet.keys, *fleet.tally.skipped], fleet.rows(like))
    return like


def _unknown(
    logs: list[LogRef], out: Path, keys: dict[str, str], tally: Tally, progress: Progress
) -> Iterator[LogRef]:
    """The logs to look at, found out as they are asked for; fills in `keys`."""
    for log in logs:
        try:
            key = look.key(log)
        except (OSError, ValueError) as error:
            tally.skipped[log.where] = f"it cannot be read: {error}"
            progress(tally)
            continue
        keys[log.where] = key
        if _is_whole(_known(out, key)):
            tally.known += 1
            progress(tally)
        else:
            yield log


def _other_version(outcome: look.Outcome) -> str:
    """A sentence where a worker runs another version: its result must not bear this one's key."""
    if outcome.program in ("", look.program()):
        return ""
    return (
        f"its worker runs keelwatt {outcome.program}, this is {look.program()}: install one alike"
    )


def _known(out: Path, key: str) -> Path:
    return out / "known" / key[:2] / f"{key}.json"


def _is_whole(path: Path) -> bool:
    """A file gets its name when it is whole; one that a power loss emptied is none."""
    return path.is_file() and path.stat().st_size > 0


def _put(path: Path, record: Record) -> int:
    """Keeps a record, whole or not at all; its bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    text = json.dumps(record, ensure_ascii=False, separators=(",", ":")).encode()
    part.write_bytes(text)
    part.replace(path)
    return len(text)
