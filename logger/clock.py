"""Boot-monotonic time, and what UTC it turns out to have been.

A board without a battery-backed clock does not know the date when it starts. Readings are kept
against the boot's monotonic clock; UTC is one offset per boot, set by the best fix that came,
early or late. Nothing is rewritten when a fix comes. A jump of the wall clock changes nothing,
because the wall clock is only ever read as a fix.

One offset per boot means that a boot's UTC is as good as its monotonic clock's rate; a crystal
is commonly within 50 ppm (common practice, no source): 4 s a day, 0.5 s an outing.
"""

from bisect import insort
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from logger.reading import UtcFix
from logger.units import DAY_US

RANK: dict[str | None, int] = {"gnss": 3, "ntp": 2, "file": 1, None: 0}  # by definition

ROLLOVER_US = 1024 * 7 * DAY_US  # the week number has 10 bits in the old GPS message, IS-GPS-200
GPS_EPOCH_US = 315_964_800 * 1_000_000  # 1980-01-06, by definition: no receiver means one before
RELEASE_UTC_US = 1_760_000_000 * 1_000_000  # 2025-10-09, by definition; live fixes are later
CEILING_US = 10 * 365 * DAY_US  # no release is used for longer than ten years; assumed
BOOT_GAP_US = 60 * 1_000_000  # an undated boot is placed this long after the one before, assumed

# A dating is wrong where fixes differ from it by more than a leap second and what the board's
# crystal may have drifted since the boot (twice what is common, see above); counts are assumed.
OUTVOTE_BEYOND_US, DRIFT_FRAC = 1_500_000, 1e-4
OUTVOTE_FIXES, OUTVOTE_S = 3, 20.0  # so many that agree among themselves, over so long
OUTVOTE_BOOTS = 2  # so many boots are believed against one; assumed
_AGREE_US = 2 * 1_000_000  # so far fixes may differ that agree


@dataclass(frozen=True, slots=True)
class Dating:
    """What a boot's UTC rests on; None while it is undated.

    Args:
        utc_offset_us: UTC minus monotonic time. [µs]
        utc_source: "gnss", "ntp" or "file".
        utc_uncertainty_s: As the fix said. [s]
        remark: A sentence where something had to be corrected.
        recorded: Whether the readings come from a recording: then old dates are no fault.
    """

    utc_offset_us: int | None = None
    utc_source: str | None = None
    utc_uncertainty_s: float | None = None
    remark: str = ""
    recorded: bool = False


class Dater:
    """Finds the best dating of one boot from the fixes that come.

    Args:
        dating: What is known so far.
        not_before_us: A UTC that is surely past: the program's release.
        live: The fixes come now: one before that, or more than `CEILING_US` after it, is no date.
    """

    def __init__(
        self, dating: Dating, not_before_us: int = RELEASE_UTC_US, *, live: bool = False
    ) -> None:
        self.dating = dating
        self._not_before_us, self._live = not_before_us, live
        self._dissent: list[UtcFix] = []

    def offer(self, fix: UtcFix) -> Dating | None:
        """The new dating where the fix changes it, else None.

        A fix wins by rank (gnss, ntp, file), and within a rank by smaller uncertainty. A GNSS
        dating is also outvoted by later GNSS fixes that agree with each other and not with it:
        receivers may give a wrong date, or some leap seconds too few, until they have heard the
        almanac. A fix of an unknown source is ignored.
        """
        if fix.source not in RANK:
            return None
        recorded = self.dating.recorded or fix.source == "file"
        fix, remark = self._unrolled(fix, recorded)
        if self._live and not recorded and not self._possible(fix.utc_us):
            return None
        if not self._outranks(fix):
            remark = self._outvoted(fix)
            if not remark:
                return None
        offset_us = fix.utc_us - fix.t_us
        self.dating = Dating(offset_us, fix.source, fix.uncertainty_s, remark, recorded)
        self._dissent = []
        return self.dating

    def _possible(self, utc_us: int) -> bool:
        return self._not_before_us <= utc_us <= self._not_before_us + CEILING_US

    def _outranks(self, fix: UtcFix) -> bool:
        have = self.dating
        if RANK[fix.source] != RANK[have.utc_source]:
            return RANK[fix.source] > RANK[have.utc_source]
        return have.utc_uncertainty_s is None or fix.uncertainty_s < have.utc_uncertainty_s

    def _outvoted(self, fix: UtcFix) -> str:
        """A sentence where enough fixes disagree with the dating and not among themselves."""
        if fix.source != "gnss" or self.dating.utc_source != "gnss":
            return ""
        off_us = fix.utc_us - fix.t_us - (self.dating.utc_offset_us or 0)
        if abs(off_us) <= OUTVOTE_BEYOND_US + DRIFT_FRAC * abs(fix.t_us):
            self._dissent = []
            return ""
        first = self._dissent[0] if self._dissent else fix
        if abs((fix.utc_us - fix.t_us) - (first.utc_us - first.t_us)) > _AGREE_US:
            self._dissent, first = [], fix
        self._dissent.append(fix)
        if len(self._dissent) < OUTVOTE_FIXES or fix.t_us - first.t_us < OUTVOTE_S * 1e6:
            return ""
        return f"The first date was {abs(off_us) / 1e6:.0f} s off; later fixes replaced it."

    def _unrolled(self, fix: UtcFix, recorded: bool) -> tuple[UtcFix, str]:
        if not recorded:
            return unrolled(fix, self._not_before_us, ROLLOVER_US)
        if self.dating.utc_source == "file" and self.dating.utc_offset_us is not None:
            file_us = fix.t_us + self.dating.utc_offset_us
            return unrolled(fix, file_us - DAY_US, 2 * DAY_US)
        return fix, ""


def unrolled(fix: UtcFix, from_us: int, within_us: int) -> tuple[UtcFix, str]:
    """Recognises a GNSS receiver whose 10-bit week number has rolled over.

    Args:
        fix: As the receiver says.
        from_us, within_us: Where the true time must lie. A live fix lies after the program's
            release; one in a recording within a day of the recording's own time, if it has one.
    Returns:
        The fix, a multiple of 1024 weeks later where that brings it there, and a sentence; else
        the fix as it is and "".
    Source: IS-GPS-200, 10-bit week number.
    """
    if fix.source != "gnss" or not GPS_EPOCH_US <= fix.utc_us < from_us:
        return fix, ""
    times = -((fix.utc_us - from_us) // ROLLOVER_US)
    moved_us = fix.utc_us + times * ROLLOVER_US
    if moved_us >= from_us + within_us:
        return fix, ""
    text = (
        f"The GNSS receiver's date was {times * 1024} weeks behind: its week number has "
        "rolled over. The log uses the corrected date; the receiver wants an update."
    )
    return replace(fix, utc_us=moved_us), text


@dataclass(frozen=True, slots=True)
class BootTimes:
    """What placing a boot on the timeline needs; times on its monotonic clock. [µs]"""

    utc_offset_us: int | None
    utc_source: str | None
    utc_uncertainty_s: float | None
    first_us: int | None
    last_us: int | None
    recorded: bool = False

    def span_us(self, offset_us: int) -> tuple[int, int]:
        """First and last reading with an offset."""
        first_us = self.first_us or 0
        last_us = self.last_us if self.last_us is not None else first_us
        return first_us + offset_us, last_us + offset_us


def place(boots: Sequence[BootTimes]) -> list[int]:
    """Timeline offset of each boot: timeline = monotonic + offset. [µs]

    Args:
        boots: In the order in which the log met them.
    Returns:
        One offset each. A dated boot has its UTC. An undated one comes `BOOT_GAP_US` after the
        boot before it, or before the first dated one where none came before. While no boot is
        dated, the first has its monotonic time. A live boot that would lie across another live
        one has a wrong date: the less sure of the two counts as undated. So has one that
        lies before boots that came before it, or after boots that came later, where two of them
        say so. Recordings may lie over anything and in any order.
    """
    offsets = _dated_offsets(boots)
    taken = sorted(
        b.span_us(o)
        for b, o in zip(boots, offsets, strict=True)
        if o is not None and b.first_us is not None
    )
    start = next((k for k, o in enumerate(offsets) if o is not None), 0)
    for k in reversed(range(start)):
        offsets[k] = _free_before(boots[k], boots[k + 1].span_us(offsets[k + 1] or 0)[0], taken)
    end_us: int | None = None
    for k, boot in enumerate(boots):
        offset = offsets[k]
        if offset is None:
            offset = offsets[k] = 0 if end_us is None else _free_after(boot, end_us, taken)
        if boot.first_us is not None:
            end_us = boot.span_us(offset)[1]
    return [offset or 0 for offset in offsets]


def _dated_offsets(boots: Sequence[BootTimes]) -> list[int | None]:
    """UTC offsets, None for undated boots and for those whose date cannot be right."""
    offsets = _in_order(boots)
    live = [
        (b.span_us(offset), k)
        for k, (b, offset) in enumerate(zip(boots, offsets, strict=True))
        if offset is not None and b.first_us is not None and not b.recorded
    ]
    kept: list[int] = []
    for _, k in sorted(live):
        while kept and _clash(boots[kept[-1]], boots[k]):
            worse = _less_sure(boots, *sorted((kept[-1], k)))
            offsets[worse] = None
            if worse == k:
                break
            kept.pop()
        if offsets[k] is not None:
            kept.append(k)
    return offsets


def _in_order(boots: Sequence[BootTimes]) -> list[int | None]:
    """UTC offsets; None for undated live boots and for those whose date the others outvote.

    The longest chain of boots whose dates go forward is believed (a board cannot have run earlier
    than before), found by dynamic programming over pairs; of chains as long, the one that ends
    last. Two of them outvote one whose date lies on the wrong side of theirs.
    """
    offsets = [b.utc_offset_us for b in boots]
    live = [
        k
        for k, b in enumerate(boots)
        if offsets[k] is not None and b.first_us is not None and not b.recorded
    ]
    starts = np.array([boots[k].span_us(offsets[k] or 0)[0] for k in live], dtype=np.int64)
    if np.all(starts[1:] >= starts[:-1]):
        return offsets
    length = np.ones(len(live), dtype=np.int64)
    before = np.full(len(live), -1)
    for k in range(1, len(live)):
        earlier = np.flatnonzero(starts[:k] <= starts[k])
        if len(earlier):
            best = earlier[len(earlier) - 1 - np.argmax(length[earlier][::-1])]
            length[k], before[k] = length[best] + 1, best
    at = len(live) - 1 - int(np.argmax(length[::-1]))
    chain = []
    while at >= 0:
        chain.append(at)
        at = int(before[at])
    for at in set(range(len(live))) - set(chain):
        against = sum((other < at) != (starts[other] < starts[at]) for other in chain)
        if against >= OUTVOTE_BOOTS:
            offsets[live[at]] = None
    return offsets


def _clash(a: BootTimes, b: BootTimes) -> bool:
    (a0, a1), (b0, b1) = a.span_us(a.utc_offset_us or 0), b.span_us(b.utc_offset_us or 0)
    slack_us = round(((a.utc_uncertainty_s or 0) + (b.utc_uncertainty_s or 0)) * 1e6)
    return a0 < b1 - slack_us and b0 < a1 - slack_us


def _less_sure(boots: Sequence[BootTimes], earlier: int, later: int) -> int:
    def sureness(k: int) -> tuple[int, float]:
        return RANK[boots[k].utc_source], -(boots[k].utc_uncertainty_s or 0.0)

    return earlier if sureness(earlier) < sureness(later) else later


def _free_after(boot: BootTimes, end_us: int, taken: list[tuple[int, int]]) -> int:
    """Offset that puts the boot after `end_us` and across none of `taken`, which it joins.

    taken: Sorted spans.
    """
    first_us, last_us = boot.span_us(0)
    start_us = end_us + BOOT_GAP_US
    for a_us, b_us in taken:
        if start_us <= b_us and start_us + last_us - first_us >= a_us:
            start_us = b_us + BOOT_GAP_US
    return _taking(boot, start_us - first_us, taken)


def _free_before(boot: BootTimes, start_us: int, taken: list[tuple[int, int]]) -> int:
    """The same, ending before `start_us`."""
    first_us, last_us = boot.span_us(0)
    end_us = start_us - BOOT_GAP_US
    for a_us, b_us in reversed(taken):
        if end_us >= a_us and end_us - (last_us - first_us) <= b_us:
            end_us = a_us - BOOT_GAP_US
    return _taking(boot, end_us - last_us, taken)


def _taking(boot: BootTimes, offset_us: int, taken: list[tuple[int, int]]) -> int:
    if boot.first_us is not None:
        insort(taken, boot.span_us(offset_us))
    return offset_us
