"""A log's readings, trips and flags carried into a database."""

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from analyzer.estimation.results import FlagView, TripRow
from analyzer.exchange.mirror import mirrored, utc
from logger.store import Store


def mirror(
    log: Path,
    url: str,
    wanted: Sequence[str],
    step_s: float | None,
    trips: Sequence[TripRow],
    flags: Sequence[FlagView],
) -> int:
    """See `Log.mirror`."""
    with Store.open(log) as store, closing(mirrored(url, store)) as into:
        count = into.carry(store, wanted, step_s)
        into.put("trips", [_trip(row) for row in trips])
        into.put("flags", [_flag(row) for row in flags])
    return count


def _trip(row: TripRow) -> dict[str, Any]:
    return {
        "number": row.number,
        "start_utc": utc(row.start_utc_s),
        "end_utc": utc(row.end_utc_s),
        "distance_m": row.distance_m,
        "energy_out_wh": row.energy_out_wh,
        "energy_in_wh": row.energy_in_wh,
        "charge_start_frac": row.charge_start.mid,
        "charge_end_frac": row.charge_end.mid,
    }


def _flag(row: FlagView) -> dict[str, Any]:
    return {
        "number": row.number,
        "level": row.level,
        "title": row.title,
        "evidence": row.evidence,
        "first_action": row.first_action,
        "raised_utc": utc(row.raised_utc_s),
        "cleared_utc": utc(row.cleared_utc_s),
    }
