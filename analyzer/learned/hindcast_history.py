"""How the range answers of each trip held, kept in the log once it was worked out."""

from dataclasses import asdict, dataclass
from typing import Any

from analyzer.learned.keys import revive
from logger.store import Store, TripRecord

KEY = "hindcast"
DIGITS = 6  # significant, of what is kept: more than any of it is known to; assumed


@dataclass(frozen=True)
class Held:
    """One moment's answer beside what then happened; see `range.hindcast.Asked`."""

    t_utc_s: float
    foreseen_m: tuple[float, float, float] | None
    made_m: float | None
    charge_frac: tuple[float, float, float] | None
    charge_was_frac: float | None
    charge_was_sd: float = 0.0


@dataclass(frozen=True)
class KeptHindcast:
    """A trip's moments that could be compared.

    by_full: Whether a full charge after the trip was there to tell its charge.
    """

    by_full: bool
    rows: tuple[Held, ...]


def keep(store: Store, trip: TripRecord, found: KeptHindcast) -> None:
    """Keeps what was found of a trip."""
    rows = [{name: _short(value) for name, value in asdict(row).items()} for row in found.rows]
    value = {"by_full": found.by_full, "rows": rows}
    store.put_learned(KEY, value, trip.start_us, trip.end_us)


def kept(store: Store) -> dict[tuple[int, int], KeptHindcast]:
    """What is kept, by the trip's beginning and end. [µs]"""
    found = {(one.from_us, one.to_us): revive(_revived, one.value) for one in store.learned(KEY)}
    return {trip: one for trip, one in found.items() if one is not None}


def _revived(value: dict[str, Any]) -> KeptHindcast:
    rows = []
    for row in value["rows"]:
        threes = {name: _three(row[name]) for name in ("foreseen_m", "charge_frac")}
        rows.append(Held(**{**row, **threes}))
    return KeptHindcast(bool(value["by_full"]), tuple(rows))


def _three(value: list[float] | None) -> tuple[float, float, float] | None:
    return None if value is None else (value[0], value[1], value[2])


def _short(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_short(one) for one in value]
    if isinstance(value, float) and value < 1e8:  # times stay whole
        return float(f"{value:.{DIGITS}g}")
    return value
