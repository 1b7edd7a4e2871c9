"""How well the range answers held over a season: the hindcasts of its trips together."""

from collections.abc import Callable
from dataclasses import asdict

from analyzer.answers.hull import charge_by_full_is_there, hindcast_trip
from analyzer.answers.season.rows import RangeHeld
from analyzer.answers.season.stretch import Season
from analyzer.errors import NoTrip
from analyzer.learned import hindcast_history
from analyzer.learned.hindcast_history import Held, KeptHindcast
from analyzer.range.hindcast import Asked, score
from logger.store import TripRecord

EACH_S = 600.0  # from question to question: a comparison wants ten minutes alike; assumed


def range_held(season: Season) -> RangeHeld:
    """By what is kept of the trips' hindcasts."""
    kept = hindcast_history.kept(season.log.store)
    keys = [(one.record.start_us, one.record.end_us) for one in season.outings]
    found = [kept[key] for key in keys if key in kept]
    rows = [_asked(row) for one in found for row in one.rows]
    said = score(rows)
    return RangeHeld(
        trips=len(keys),
        looked_at=len(found),
        compared=said.compared,
        held_frac=said.held_frac,
        error_frac=said.error_frac,
        charge_compared=said.charge_compared,
        charge_held_frac=said.charge_held_frac,
        charge_error_frac=said.charge_error_frac,
        sentence=said.sentence if found else "no trip was held against the log yet",
    )


def look_back(
    season: Season, most: int | None = None, progress: Callable[[float], None] | None = None
) -> bool:
    """Works out and keeps the hindcasts of the season's trips that are not kept yet.

    A trip whose charge could not be told then, and can now by a full charge since, is asked again.

    Args:
        most: So many trips at most; None: all.
    Returns:
        Whether trips are left.
    """
    left = _not_kept(season)
    now = left if most is None else left[:most]
    for k, (record, by_full) in enumerate(now):
        try:
            rows = hindcast_trip(season.log, record, EACH_S).hindcast.rows
        except NoTrip:  # what the range rests on was not measured
            rows = ()
        held = tuple(_held(row) for row in rows if _tells(row))
        hindcast_history.keep(season.log.store, record, KeptHindcast(by_full, held))
        if progress:
            progress((k + 1) / len(now))
    return len(now) < len(left)


def _not_kept(season: Season) -> list[tuple[TripRecord, bool]]:
    """Trips to be asked, and whether a full charge since tells their charge."""
    kept = hindcast_history.kept(season.log.store)
    left = []
    for record in (outing.record for outing in season.outings):
        before = kept.get((record.start_us, record.end_us))
        if before is not None and before.by_full:
            continue
        by_full = charge_by_full_is_there(season.log, record)
        if before is None or by_full:
            left.append((record, by_full))
    return left


def _tells(row: Asked) -> bool:
    return row.held is not None or row.charge_held is not None


def _held(row: Asked) -> Held:
    told = asdict(row)
    return Held(**{name: told[name] for name in Held.__dataclass_fields__})


def _asked(row: Held) -> Asked:
    """As the score takes it; how far there was to go then is not among what is kept."""
    return Asked(distance_m=(0.0, 0.0, 0.0), soc_frac=0.0, over_s=0.0, **asdict(row))
