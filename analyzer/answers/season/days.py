"""A season's best and worst days under motor, and why: what a mile took beside the season's mile.

ln(day / season) is taken apart into what findings explain:

    speed   f(v of the day) less f over the season, f(v) = ln(P(v) / v) by the season's power curve
    stream  ln(way through the water / way over the ground), less the same over the season
    growth  p·ln((1 + loss of the season) / (1 + loss of the day)), by the trend of the losses
    rest    what is left: wind and sea, sails that helped, loads beside the motor

P power, v speed through the water, p the curve's slope. Textbook logarithms of a product.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from analyzer.answers.season.fouling_cost import MOST_LOSS
from analyzer.answers.season.rows import DayReason, DayRow
from analyzer.answers.season.stretch import Outing, Season
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from logger.units import KN

MOST = 3  # days of each kind; assumed
LEAST_M = 1852.0  # under motor in a day, before it is compared: a mile, assumed
LEAST_DAYS = 4  # before one is the best; assumed
WORTH = 0.03  # of a day's consumption, before a reason is told; assumed
FLAGS = ("warning", "act now")  # told of a day; notices are not


@dataclass(frozen=True)
class _Parts:
    """ln of what explains a day's consumption, with standard deviations; None: not known."""

    speed_mps: float | None = None
    speed: tuple[float, float] | None = None
    stream: tuple[float, float] | None = None
    growth: tuple[float, float] | None = None


@dataclass(frozen=True)
class _Day:
    outings: tuple[Outing, ...]
    wh: float
    far_m: float
    parts: _Parts


def days(season: Season) -> tuple[tuple[DayRow, ...], tuple[DayRow, ...], str]:
    """The best days, the worst, and why there are none; empty where there are."""
    found = list(_days(season))
    if len(found) < LEAST_DAYS:
        return (), (), f"comparing days wants {LEAST_DAYS} with a mile or more under motor"
    wh = sum(day.wh for day in found)
    far_m = sum(day.far_m for day in found)
    rows = sorted(
        (_row(season, day, found, wh / far_m) for day in found),
        key=lambda row: row.against_season,
    )
    best = [row for row in rows if row.against_season < 0][:MOST]
    worst = [row for row in rows[::-1] if row.against_season > 0][:MOST]
    return tuple(best), tuple(worst), ""


def _days(season: Season) -> Iterator[_Day]:
    by_day: dict[str, list[Outing]] = {}
    for outing in season.outings:
        began = datetime.fromtimestamp(outing.row.start_utc_s, UTC)
        by_day.setdefault(f"{began:%Y-%m-%d}", []).append(outing)
    for outings in by_day.values():
        told = [motor for one in outings if (motor := one.motor()) is not None]
        wh, far_m = (sum(motor[k] for motor in told) for k in (0, 1))
        if far_m >= LEAST_M and wh > 0:
            yield _Day(tuple(outings), wh, far_m, _parts(season, outings))


def _parts(season: Season, outings: Sequence[Outing]) -> _Parts:
    points = [one.points for one in outings if len(one.points.speed_mps)]
    speed_mps = speed = None
    if points:
        speeds = np.concatenate([one.speed_mps for one in points])
        weight = speeds * np.concatenate([one.duration_s for one in points])
        speed_mps = float(np.average(speeds, weights=weight))
        a_mile = season.curve.mean_w(speeds) / speeds
        level = float(np.average(np.log(a_mile), weights=weight))
        off = np.concatenate([one.speed_sd_mps for one in points]) / speeds
        steep = np.abs(season.curve.slope(speeds) - 1)
        speed = level, float(np.average(steep * off, weights=weight))
    return _Parts(speed_mps, speed, _stream(outings), _growth(season, outings, speed_mps))


def _stream(outings: Sequence[Outing]) -> tuple[float, float] | None:
    kept = [one.energies for one in outings if one.energies is not None and one.energies.water_m]
    water_m, ground_m = sum(k.water_m for k in kept), sum(k.ground_m for k in kept)
    if not ground_m > 0 or not water_m > 0:
        return None
    sd = sum(k.water_sd_frac * k.water_m for k in kept) / water_m
    return math.log(water_m / ground_m), sd


def _growth(
    season: Season, outings: Sequence[Outing], speed_mps: float | None
) -> tuple[float, float] | None:
    """By the trend, for days since the last clean bottom; what was before is not told by it."""
    found = season.fouling
    loss, since_s = found.since_clean, found.clean_from_utc_s
    if loss.mid is None or loss.low is None or since_s is None or speed_mps is None:
        return None
    lasts_s = found.rows[-1].t_utc_s - since_s
    after_s = outings[0].row.start_utc_s - since_s
    if after_s < 0 or lasts_s <= 0:
        return None
    here = np.array([speed_mps])
    slope = max(float(season.curve.slope(here)[0]), 1.0)
    share = after_s / lasts_s
    sd = (loss.mid - loss.low) / Z80 * share
    return -slope * math.log1p(max(loss.mid * share, -MOST_LOSS)), slope * sd


def _row(season: Season, day: _Day, every: Sequence[_Day], usual: float) -> DayRow:
    whole = math.log(day.wh / day.far_m / usual)
    first = day.outings[0].row
    return DayRow(
        trips=tuple(one.row.number for one in day.outings),
        start_utc_s=first.start_utc_s,
        motor_m=day.far_m,
        consumption_wh_per_m=day.wh / day.far_m,
        against_season=math.expm1(whole),
        reasons=(*_reasons(day, every, whole), *_flags(season, day)),
    )


def _reasons(day: _Day, every: Sequence[_Day], whole: float) -> list[DayReason]:
    found = []
    if day.parts.speed is not None:
        more = day.parts.speed[0] - _mean(every, "speed")
        fast = (day.parts.speed_mps or 0.0) / KN
        way = "faster" if more > 0 else "slower"
        text = f"{way} through the water than usual, {fast:.1f} kn"
        found.append(
            ("speed", text, more, day.parts.speed[1], "steady motoring and the power curve")
        )
    for kind, words, source in _SHARED:
        part = getattr(day.parts, kind)
        if part is None:
            continue
        more = part[0] - _mean(every, kind)
        found.append((kind, words[more > 0], more, part[1], source))
    rest = whole - sum(more for _, _, more, _, _ in found)
    rest_sd = math.hypot(*(sd for _, _, _, sd, _ in found))
    reasons = [
        DayReason(kind, text, _share(more, sd), source)
        for kind, text, more, sd, source in found
        if _tells(more, sd)
    ]
    reasons.sort(key=lambda one: -abs(one.share.mid or 0.0) if one.share else 0.0)
    if _tells(rest, rest_sd):
        reasons.append(DayReason("unexplained", _rest(day), _share(rest, rest_sd), "what is left"))
    return reasons


_SHARED = (
    ("stream", ("the stream helped", "the stream set against it"), "the stream found on the trip"),
    (
        "growth",
        ("less grown on the bottom than on the season's other days", "growth on the bottom"),
        "the trend of the speed at the same power",
    ),
)
_REST = "wind and sea, sails that helped, or loads beside the motor"


def _rest(day: _Day) -> str:
    """What is left, with what was not told apart of it."""
    if day.parts.stream is None:
        return f"not explained: the stream, which the log did not tell apart, {_REST}"
    return f"not explained: {_REST}"


def _tells(more: float, sd: float) -> bool:
    """Whether a part is worth telling, and its range is on one side."""
    return abs(more) >= max(WORTH, Z80 * sd)


def _mean(every: Sequence[_Day], kind: str) -> float:
    """Over the season's days that tell it, by their miles."""
    both = [(getattr(day.parts, kind), day.far_m) for day in every]
    known = [(float(part[0]), far_m) for part, far_m in both if part is not None]
    return sum(value * far_m for value, far_m in known) / sum(far_m for _, far_m in known)


def _share(more: float, sd: float) -> Estimate:
    low, mid, high = (math.expm1(more + z * sd) for z in (-Z80, 0.0, Z80))
    return Estimate(mid, low, high, "frac")


def _flags(season: Season, day: _Day) -> Iterator[DayReason]:
    """What was raised on its trips, each once."""
    told: dict[str, None] = {}
    for outing in day.outings:
        for flag in season.log.store.flags(outing.record.start_us, outing.record.end_us):
            begun = outing.record.start_us <= flag.raised_us
            if flag.level in FLAGS and begun:
                told[f"{flag.level}: {flag.title.rstrip('.')}"] = None
    for text in told:
        yield DayReason("flag", text, None, "the watch")
