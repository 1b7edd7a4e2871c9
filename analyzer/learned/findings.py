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

BEHIND = ("cell_charge", "cell_capacity", "cell_behind")
KEY = "finding/"  # and the key of the flag's cause


def keep(store: Store, flag: FlagRecord, now: Detection, t_us: int) -> None:
    """Keeps what is found of a flag's cause at a time of the timeline. [µs]"""
    store.put_learned(KEY + flag.key, asdict(now), flag.raised_us, t_us)


def kept(store: Store, flag: FlagRecord) -> tuple[int, Detection] | None:
    """When the figures of a flag's cause were last kept, and what was found then. [µs]"""
    for one in store.learned(KEY + flag.key):
        if one.from_us != flag.raised_us:
            continue
        found = revive(_detection, one.value)
        if found is not None:
            return one.to_us, found
    return None


def beside_flags(
    store: Store, found: list[Detection], since_us: int, kinds: tuple[str, ...]
) -> list[Detection]:
    """An answer's own findings beside the flags that stand: one cause is told once, by the flag.

    Args:
        found: By the answer's own look.
        since_us: Where that look began: a flag's older figures give way to it. [µs]
        kinds: Beginnings of the kinds of flag that the answer speaks of.
    Returns:
        Its own findings, with the flag's figures where they are as new, then what else stands.
    """
    flags = {}
    for flag in store.flags():
        if flag.cleared_us is None and flag.kind.startswith(kinds):
            flags[_as_now(store, flag)] = flag
    told = []
    for one in found:
        flag_of = flags.pop(cause(one), None)
        told.append(_of_flag(store, flag_of, one, since_us))
    for flag in flags.values():
        last = kept(store, flag)
        if last is not None:
            told.append(last[1])
    return told


def _as_now(store: Store, flag: FlagRecord) -> tuple[str, str]:
    """What a flag's cause is now: a cell close to its cut-off, then found to be behind, is one."""
    last = kept(store, flag)
    return cause(flag if last is None else last[1])


def cause(found: FlagRecord | Detection) -> tuple[str, str]:
    """What makes two findings one: a cell behind the others is, whichever cause is likelier."""
    kind = "cell_behind" if found.kind in BEHIND else found.kind
    return found.subject, kind


def _of_flag(store: Store, flag: FlagRecord | None, found: Detection, since_us: int) -> Detection:
    last = kept(store, flag) if flag else None
    if flag is None or last is None or last[0] < since_us:
        return found
    return replace(last[1], since_us=flag.raised_us)


def _detection(data: dict[str, Any]) -> Detection:
    """As `asdict` gave it, through JSON."""
    told = {}
    for field in fields(Detection):
        if field.name in data:
            told[field.name] = data[field.name]
    told["size"] = _estimate(data["size"])
    told["channels"] = tuple(data["channels"])
    return Detection(**told)


def _estimate(data: dict[str, Any]) -> Estimate:
    told = dict(data)
    for name in ("used", "missing"):
        told[name] = tuple(data[name])
    return Estimate(**told)
