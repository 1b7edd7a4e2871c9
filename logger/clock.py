"""Boot-monotonic time, and what UTC it turns out to have been.

A board without a battery-backed clock does not know the date when it starts. Readings are kept
against the boot's monotonic clock; UTC is one offset per boot, set by the best fix that came,
early or late. Nothing is rewritten when a fix comes. A jump of the wall clock changes nothing,
because the wall clock is only ever read as a fix.

One offset per boot means that a boot's UTC is as good as its monotonic clock's rate; a crystal
is commonly within 50 ppm (common practice, no source): 4 s a day, 0.5 s an outing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from logger.sources.source import UtcFix

RANK: dict[str | None, int] = {"gnss": 3, "ntp": 2, "file": 1, None: 0}

WEEK_US = 7 * 86400 * 1_000_000
ROLLOVER_US = 1024 * WEEK_US  # the week number has 10 bits in the old GPS message, IS-GPS-200
RELEASE_UTC_US = 1_760_000_000 * 1_000_000  # 2025-10-09: no live fix can be of before
_ROLLED_WITHIN_US = 3 * 366 * 86400 * 1_000_000
BOOT_GAP_US = 60 * 1_000_000  # an undated boot is placed this long after the one before


@dataclass(frozen=True, slots=True)
class BootTimes:
    """What placing a boot on the timeline needs; times on its monotonic clock. [µs]"""

    utc_offset_us: int | None
    utc_source: str | None
    utc_uncertainty_s: float | None
    first_us: int | None
    last_us: int | None


@dataclass(frozen=True, slots=True)
class Dating:
    """What a boot's UTC rests on; None while it is undated.

    Args:
        utc_offset_us: UTC minus monotonic time. [µs]
        utc_source: "gnss", "ntp" or "file".
        utc_uncertainty_s: As the fix said. [s]
        remark: A sentence where something had to be corrected.
    """

    utc_offset_us: int | None = None
    utc_source: str | None = None
    utc_uncertainty_s: float | None = None
    remark: str = ""

    def improved(self, fix: UtcFix, not_before_us: int) -> "Dating | None":
        """The dating by this fix where it is of higher rank, or of the same and surer; else None.

        Args:
            fix: Any; one of an unknown source is ignored.
            not_before_us: See `unrolled`.
        """
        if not _outranks(fix, self.utc_source, self.utc_uncertainty_s):
            return None
        fix, remark = unrolled(fix, not_before_us)
        return Dating(fix.utc_us - fix.t_us, fix.source, fix.uncertainty_s, remark)


def _outranks(fix: UtcFix, source: str | None, uncertainty_s: float | None) -> bool:
    if fix.source not in RANK:
        return False
    if RANK[fix.source] != RANK.get(source, 0):
        return RANK[fix.source] > RANK.get(source, 0)
    return uncertainty_s is None or fix.uncertainty_s < uncertainty_s


def unrolled(fix: UtcFix, not_before_us: int = RELEASE_UTC_US) -> tuple[UtcFix, str]:
    """Recognises a GNSS receiver whose 10-bit week number has rolled over.

    Args:
        fix: As the receiver says.
        not_before_us: A UTC that is surely past: the program's release or the log's last date.
    Returns:
        The fix, 1024 (or 2048) weeks later where that explains it, and a sentence, else "".
        Recordings (source "file") and dates no multiple of 1024 weeks explains stay as they are.
    Source: IS-GPS-200, 10-bit week number.
    """
    if fix.source != "gnss" or fix.utc_us >= not_before_us:
        return fix, ""
    for times in (1, 2):
        moved = fix.utc_us + times * ROLLOVER_US
        if not_before_us <= moved < not_before_us + _ROLLED_WITHIN_US:
            text = (
                f"The GNSS receiver's date was {times * 1024} weeks behind: its week number has "
                "rolled over. The log uses the corrected date; the receiver wants an update."
            )
            return replace(fix, utc_us=moved), text
    return fix, ""


def place(boots: Sequence[BootTimes]) -> list[int]:
    """Timeline offset of each boot: timeline = monotonic + offset. [µs]

    Args:
        boots: In the order in which the log met them.
    Returns:
        One offset each. A dated boot has its UTC. An undated one comes `BOOT_GAP_US` after the
        boot before it, or before the first dated one where none came before. While no boot is
        dated, the first has its monotonic time. A live boot (not from a file) that would lie
        across another live one has a wrong date: the less sure of the two counts as undated.
    """
    offsets = _dated_offsets(boots)
    taken = [
        _span(b, o)
        for b, o in zip(boots, offsets, strict=True)
        if o is not None and b.first_us is not None
    ]
    start = next((k for k, o in enumerate(offsets) if o is not None), 0)
    for k in reversed(range(start)):
        offsets[k] = _free_before(boots[k], _span(boots[k + 1], offsets[k + 1] or 0)[0], taken)
    end_us: int | None = None
    for k, boot in enumerate(boots):
        offset = offsets[k]
        if offset is None:
            offset = offsets[k] = 0 if end_us is None else _free_after(boot, end_us, taken)
        if boot.first_us is not None:
            end_us = _span(boot, offset)[1]
    return [offset or 0 for offset in offsets]


def _dated_offsets(boots: Sequence[BootTimes]) -> list[int | None]:
    offsets = [b.utc_offset_us for b in boots]
    for later in range(len(boots)):
        for earlier in range(later):
            both = offsets[later] is not None and offsets[earlier] is not None
            if both and _clash(boots[earlier], boots[later]):
                offsets[_less_sure(boots, earlier, later)] = None
    return offsets


def _span(boot: BootTimes, offset_us: int) -> tuple[int, int]:
    first_us = boot.first_us or 0
    last_us = boot.last_us if boot.last_us is not None else first_us
    return first_us + offset_us, last_us + offset_us


def _clash(a: BootTimes, b: BootTimes) -> bool:
    if "file" in (a.utc_source, b.utc_source) or a.first_us is None or b.first_us is None:
        return False  # recordings may well be of the same hours
    (a0, a1), (b0, b1) = _span(a, a.utc_offset_us or 0), _span(b, b.utc_offset_us or 0)
    slack_us = round(((a.utc_uncertainty_s or 0) + (b.utc_uncertainty_s or 0)) * 1e6)
    return a0 < b1 - slack_us and b0 < a1 - slack_us


def _less_sure(boots: Sequence[BootTimes], i: int, j: int) -> int:
    def sureness(k: int) -> tuple[int, float]:
        return RANK.get(boots[k].utc_source, 0), -(boots[k].utc_uncertainty_s or 0.0)

    return i if sureness(i) < sureness(j) else j


def _free_after(boot: BootTimes, end_us: int, taken: list[tuple[int, int]]) -> int:
    """Offset that puts the boot after `end_us` and across none of `taken`, which it joins."""
    first_us, last_us = _span(boot, 0)
    start_us = end_us + BOOT_GAP_US
    for a_us, b_us in sorted(taken):
        if start_us <= b_us and start_us + last_us - first_us >= a_us:
            start_us = b_us + BOOT_GAP_US
    return _taking(boot, start_us - first_us, taken)


def _free_before(boot: BootTimes, start_us: int, taken: list[tuple[int, int]]) -> int:
    """The same, ending before `start_us`."""
    first_us, last_us = _span(boot, 0)
    end_us = start_us - BOOT_GAP_US
    for a_us, b_us in sorted(taken, reverse=True):
        if end_us >= a_us and end_us - (last_us - first_us) <= b_us:
            end_us = a_us - BOOT_GAP_US
    return _taking(boot, end_us - last_us, taken)


def _taking(boot: BootTimes, offset_us: int, taken: list[tuple[int, int]]) -> int:
    if boot.first_us is not None:
        taken.append(_span(boot, offset_us))
    return offset_us
