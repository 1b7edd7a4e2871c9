"""What a flag's cause looks like now, kept beside what it looked like when it was found.

The flag itself keeps its evidence as it was found. Every answer that tells of the same cause reads
what is kept here, so that one fault has one figure.
"""

from dataclasses import asdict, fields, replace
from typing import Any

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.learned.keys import revive
from logger.store import FlagRecord, Store

KEY = "finding/"  # and the key of the flag's cause


def keep(store: Store, flag: FlagRecord, now: Detection, t_us: int) -> None:
    """Keeps what is found of a flag's cause at a time of the timeline. [µs]"""
    store.put_learned(KEY + flag.key, asdict(now), flag.raised_us, t_us)


def kept(store: Store, flag: FlagRecord) -> tuple[int, Detection] | None:
    """When a flag's cause was last found with other figures than at first, and what. [µs]"""
    for one in store.learned(KEY + flag.key):
        if one.from_us == flag.raised_us and (found := revive(_detection, one.value)):
            return one.to_us, found
    return None


def as_kept(store: Store, found: list[Detection], since_us: int) -> list[Detection]:
    """Findings with the figures of the flags that stand for the same causes, where kept since."""
    flags = {(f.subject, f.kind): f for f in store.flags() if f.cleared_us is None}
    return [_of_flag(store, flags.get((one.subject, one.kind)), one, since_us) for one in found]


def _of_flag(store: Store, flag: FlagRecord | None, found: Detection, since_us: int) -> Detection:
    last = kept(store, flag) if flag else None
    if flag is None or last is None or last[0] < since_us:
        return found
    return replace(last[1], since_us=flag.raised_us)


def _detection(data: dict[str, Any]) -> Detection:
    """As `asdict` gave it, through JSON."""
    known = {field.name for field in fields(Detection)}
    size = data["size"]
    size = Estimate(**{**size, "used": tuple(size["used"]), "missing": tuple(size["missing"])})
    told = {name: value for name, value in data.items() if name in known}
    return Detection(**{**told, "size": size, "channels": tuple(data["channels"])})
