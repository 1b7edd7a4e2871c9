"""A season: everything that its trips have found, put together from what the log keeps."""

from collections import Counter
from collections.abc import Iterator

from analyzer.answers.season.consumption import month_rows, speed_rows
from analyzer.answers.season.days import days
from analyzer.answers.season.energy import energy_rows
from analyzer.answers.season.fouling_cost import fouling_cost
from analyzer.answers.season.pack_season import pack_season
from analyzer.answers.season.range_held import range_held
from analyzer.answers.season.rows import SeasonAnswer
from analyzer.answers.season.stretch import LEAST_S, Season, season_of
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.ground import Ground
from analyzer.series.log import OpenLog


def season(
    log: OpenLog, start_utc_s: float | None = None, end_utc_s: float | None = None
) -> SeasonAnswer:
    """The season between two times; None: the year up to the newest trip's end.

    Raises:
        NoTrip: No trip began in it.
    """
    asked = season_of(log, start_utc_s, end_utc_s)
    best, worst, why = days(asked)
    return SeasonAnswer(
        boat=log.boat.name,
        start_utc_s=asked.outings[0].row.start_utc_s,
        end_utc_s=asked.outings[-1].row.end_utc_s,
        trips=len(asked.outings),
        distance=_distance(asked),
        motor_s=sum(one.lasts_s("motoring") for one in asked.outings),
        sail_s=sum(one.lasts_s("sailing") for one in asked.outings),
        energy=energy_rows(asked),
        usual_mps=asked.usual_mps,
        usual_reason=_usual_reason(asked),
        speeds=speed_rows(asked),
        months=month_rows(asked),
        fouling=fouling_cost(asked),
        pack=pack_season(asked),
        best=best,
        worst=worst,
        days_reason=why,
        range_held=range_held(asked),
        remarks=tuple(_remarks(asked)),
        grounds=asked.outings[-1].row.grounds,
    )


DISTANCE_SD = 0.01  # of a way by GNSS speed or positions; common practice, no source


def _distance(asked: Season) -> Estimate:
    """Over the ground. [m]"""
    far = [one.row.distance_m for one in asked.outings if one.row.distance_m is not None]
    if not far:
        return cannot_say("neither speed nor position over the ground was measured", "m")
    total = sum(far)
    return Estimate(total, total * (1 - DISTANCE_SD), total * (1 + DISTANCE_SD), "m")


def _usual_reason(asked: Season) -> str:
    minutes = float(asked.points.duration_s.sum()) / 60
    if asked.usual_mps is None:
        return f"{minutes:.0f} minutes of steady motoring, wants {LEAST_S / 60:.0f}"
    return f"the middle of {minutes:.0f} minutes of steady motoring in the season"


def _remarks(asked: Season) -> Iterator[str]:
    """What was missing, and on how many trips; sentences for people."""
    many = len(asked.outings)
    found: Counter[str] = Counter()
    for outing in asked.outings:
        row = outing.row
        found["the energy cannot be said"] += bool(row.energy_reason)
        found["the distance was not measured"] += row.distance_m is None
        found["some of the time was not recorded"] += row.unrecorded_s > 60
        found["nothing is kept of where the energy went"] += outing.energies is None
        found.update({_ground(ground): 1 for ground in row.grounds if ground.broken})
    for text, count in found.most_common():
        if count:
            yield f"On {count} of {many} trips {text}."


def _ground(ground: Ground) -> str:
    how = f"{ground.standing} {ground.by}".strip() if ground.standing == "contradicted by" else ""
    return f"the {ground.input} was {how or ground.standing} at the end"
