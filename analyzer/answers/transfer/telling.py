"""What is new in a log, as payloads for a broker: readings, range and flags."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

from analyzer.errors import AnalyzerError
from analyzer.estimation.results import FlagView, RangeAnswer
from logger.errors import LoggerError
from logger.units import UNDATED_S

if TYPE_CHECKING:
    from logger.store import Store

RANGE_S = 60.0  # between answers of how far, which take a second of a small board; assumed
Payload = tuple[str, dict[str, Any], bool]  # topic, value, whether the broker keeps it


class Asked(Protocol):
    """A log that can be asked."""

    def range_left(self) -> RangeAnswer: ...
    def flags(self) -> tuple[FlagView, ...]: ...


@dataclass
class News:
    """Remembers what was told."""

    _seen_us: dict[str, int] = field(default_factory=dict)
    _flags: dict[int, dict[str, Any]] = field(default_factory=dict)
    _range_s: float = -RANGE_S

    def of(self, log: Asked, store: "Store", now_s: float) -> Iterator[Payload]:
        """Everything that came since the last time.

        Args:
            now_s: Of a clock that only goes on.
        """
        yield from self._readings(store)
        try:
            if now_s - self._range_s >= RANGE_S:
                self._range_s = now_s
                yield _range(log.range_left())
            yield from self._changed(log.flags())
        except (AnalyzerError, LoggerError):
            return  # as of a log without a boat file: its readings are told all the same

    def _readings(self, store: "Store") -> Iterator[Payload]:
        for name, span in store.channels().items():
            newest = store.last(name)
            if newest is None or newest[0] <= self._seen_us.get(name, -1):
                continue
            self._seen_us[name] = newest[0]
            value = {"value": newest[1], "unit": span.unit, "utc_s": _utc_s(newest[0])}
            yield f"reading/{name}", value, False

    def _changed(self, rows: tuple[FlagView, ...]) -> Iterator[Payload]:
        for row in rows:
            value = {
                "level": row.level,
                "title": row.title,
                "first_action": row.first_action,
                "raised_utc_s": row.raised_utc_s,
                "cleared_utc_s": row.cleared_utc_s,
            }
            if self._flags.get(row.number) != value:
                self._flags[row.number] = value
                yield f"flag/{row.number}", value, True


def _range(answer: RangeAnswer) -> Payload:
    value = {
        "low_m": answer.distance.low,
        "mid_m": answer.distance.mid,
        "high_m": answer.distance.high,
        "charge_frac": answer.charge.mid,
        "limit": answer.limit,
        "reason": answer.distance.reason,
        "utc_s": answer.asked_utc_s if answer.asked_utc_s > UNDATED_S else None,
    }
    return "range", value, True


def _utc_s(t_us: int) -> float | None:
    seconds = t_us / 1e6
    return seconds if seconds > UNDATED_S else None
