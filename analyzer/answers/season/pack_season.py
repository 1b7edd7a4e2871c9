"""The pack over a season, the temperature taken out."""

from collections.abc import Sequence

from analyzer.answers.health.trends import Past
from analyzer.answers.season.rows import PackSeason
from analyzer.answers.season.stretch import Season
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.learned.charge_history import charges
from analyzer.pack.ageing import At25, ageing


def pack_season(season: Season) -> PackSeason:
    """Capacity and resistance at 25 °C; their trends rest on all that the log knew by then."""
    states = [state for state in charges(season.log) if state.t_us <= season.end_us]
    found = ageing(states)
    return PackSeason(
        capacity=_course(found.capacity_rows, "Ah", season),
        resistance=_course(found.resistance_rows, "frac", season),
        capacity_year=found.capacity.per_year,
        resistance_year=found.resistance.per_year,
        remarks=found.remarks,
    )


def _course(rows: Sequence[At25], unit: str, season: Season) -> tuple[Past, ...]:
    return tuple(
        Past(
            row.t_us / 1e6,
            Estimate(row.value, row.value - Z80 * row.sd, row.value + Z80 * row.sd, unit),
        )
        for row in rows
        if row.t_us >= season.start_us
    )
