"""Channels against limits that the boat file, the chemistry or the catalogue gives."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.detection import Detection, Level
from analyzer.estimation.estimate import Estimate
from analyzer.flags.threshold import Threshold
from analyzer.series.series import Series


@dataclass
class Limit:
    """One channel against two limits; the second may be missing."""

    channel: str
    key: str
    kind: str
    subject: str
    unit: str
    warn: Threshold
    act: Threshold | None = None

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log, which has the channel."""
        t_s, values = chunk.t_utc_s, chunk.values[self.channel]
        for limit in filter(None, (self.warn, self.act)):
            limit.see(t_s, values)

    @property
    def live(self) -> bool:
        """Whether it is past its limit, or on its way to be."""
        return self.warn.live or (self.act is not None and self.act.live)

    def detections(self) -> list[Detection]:
        """That the channel is past its limit: as it is, and at worst since it tripped."""
        limit = self.warn
        level: Level = "warning"
        if self.act is not None and self.act.active:
            limit = self.act
            level = "act now"
        if not limit.active:
            return []
        past = "above" if limit.sign > 0 else "below"
        now = f"{limit.last:.2f}"
        worst = f"{limit.value:.2f}"
        at_worst = "" if now == worst else f" ({worst} at worst)"
        trip = f"{limit.sign * limit.trip:.2f} {self.unit}"
        text = (
            f"{self.subject} at {now} {self.unit}{at_worst}; "
            f"flagged {past} {trip} for {limit.hold_s:.0f} s."
        )
        return [
            Detection(
                self.subject,
                self.kind,
                text,
                size=Estimate(limit.last, None, None, self.unit),
                level=level,
                key=self.key,
                channels=(self.channel,),
            )
        ]


class Limits:
    """All limits of a boat; most chunks are near none of them, which one comparison tells."""

    def __init__(self, limits: Sequence[Limit]) -> None:
        self._limits = tuple(limits)
        self._live: set[int] = set()
        self._names: tuple[str, ...] | None = None
        self._there = self._row = np.zeros(0, np.int64)
        self._sign = self._trip = np.zeros(0)

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        if chunk.names != self._names:
            self._arrange(chunk.names)
        lowest, highest = chunk.extremes
        worst = np.where(self._sign > 0, highest[self._row], -lowest[self._row])
        past = self._there[worst > self._trip].tolist()
        live = self._live.intersection(self._there.tolist()) if self._live else ()
        for k in sorted({*past, *live}):
            limit = self._limits[k]
            limit.update(chunk)
            (self._live.add if limit.live else self._live.discard)(k)

    def detections(self) -> list[Detection]:
        """Channels that are past their limits."""
        return [found for k in sorted(self._live) for found in self._limits[k].detections()]

    def _arrange(self, names: tuple[str, ...]) -> None:
        """Which limits these channels have, and in which rows."""
        self._names = names
        rows = {name: row for row, name in enumerate(names)}
        there = [k for k, limit in enumerate(self._limits) if limit.channel in rows]
        warns = [self._limits[k].warn for k in there]
        self._there = np.array(there, np.int64)
        self._row = np.array([rows[self._limits[k].channel] for k in there], np.int64)
        self._sign = np.array([warn.sign for warn in warns])
        self._trip = np.array([warn.trip for warn in warns])  # signed
