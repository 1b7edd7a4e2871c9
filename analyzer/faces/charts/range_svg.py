"""Geometry of the two drawings on the under-way page; the template turns it into SVG.

Both are drawn on the server, so that they are there without any script.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import RangeAnswer, RangePoint
from analyzer.faces import format, sentences, units
from analyzer.faces.charts.scale import Tick, band, path, ticks
from logger.units import KN

# Layout in pixels, and how far the curve reaches: assumed.
WIDTH, HEIGHT = 400, 300  # of the curve's picture
LEFT, RIGHT, TOP, BOTTOM = 40, 376, 34, 252  # of the plot in it
MOST_TIMES = 5.0  # the curve's picture reaches at most so many times the answer
RULE_WIDTH, RULE_LEFT, RULE_RIGHT = 400, 10, 390


class PlannedLeg(Protocol):
    """A leg of a plan."""

    @property
    def distance_m(self) -> float: ...

    @property
    def charge(self) -> Estimate: ...


@dataclass(frozen=True)
class Spot:
    """A named point of the curve."""

    x: float
    y: float
    text: str
    anchor: str  # which end of the text stands at x: "start" or "end"


@dataclass(frozen=True)
class Curve:
    """Range against speed."""

    band: str  # SVG path; what is above the frame is cut off by the picture
    middle: str  # SVG path
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    now: Spot | None
    best: Spot | None
    points: tuple[dict[str, object], ...]  # what the page's script shows while it is dragged
    chosen: int  # index in `points` of the speed answered for


@dataclass(frozen=True)
class Rule:
    """The reach as a rule laid out from the boat."""

    low: float
    mid: float
    high: float
    ticks: tuple[Tick, ...]
    turn: float | None


def curve(answer: RangeAnswer) -> Curve | None:
    """The curve, or None where fewer than two speeds can be answered."""
    points = _points(answer)
    if len(points) < 2:
        return None
    speeds = [p.speed_water_mps / units.now().speed_mps for p in points]
    first, last = speeds[0], speeds[-1]
    top = _top(points, answer.distance.mid)

    def at(speed_kn: float, distance_m: float) -> tuple[float, float]:
        x = LEFT + (speed_kn - first) / (last - first) * (RIGHT - LEFT)
        return x, BOTTOM - distance_m / units.now().distance_m / top * (BOTTOM - TOP)

    lows = [at(s, _low(p)) for s, p in zip(speeds, points, strict=True)]
    mids = [at(s, p.distance.mid or 0.0) for s, p in zip(speeds, points, strict=True)]
    highs = [at(s, _high(p)) for s, p in zip(speeds, points, strict=True)]
    return Curve(
        band=band(lows, highs),
        middle=path(mids),
        across=tuple(Tick(at(k, 0)[0], f"{k:g}") for k in ticks(last, 6, first)),
        up=tuple(Tick(at(first, d * units.now().distance_m)[1], f"{d:g}") for d in ticks(top, 4)),
        now=_spot(answer.speed_water_mps, speeds, mids, "now" if answer.motoring else "here"),
        best=_spot(answer.best_speed_mps, speeds, mids, "furthest"),
        points=tuple(_row(answer, p, xy) for p, xy in zip(points, mids, strict=True)),
        chosen=_nearest(
            speeds, (answer.speed_water_mps or points[0].speed_water_mps) / units.now().speed_mps
        ),
    )


def _points(answer: RangeAnswer) -> list[RangePoint]:
    """The curve's speeds that have an answer, with the speed answered for among them."""
    points = [p for p in answer.curve if p.distance.mid is not None]
    speed = answer.speed_water_mps
    if speed is None or answer.distance.mid is None or answer.speed_ground_mps is None:
        return points
    if not points or not points[0].speed_water_mps <= speed <= points[-1].speed_water_mps:
        return points
    nearest = min(points, key=lambda p: abs(p.speed_water_mps - speed))
    if abs(nearest.speed_water_mps - speed) < 0.05 * KN:
        points.remove(nearest)
    asked = replace(
        nearest,
        speed_water_mps=speed,
        speed_ground_mps=answer.speed_ground_mps,
        distance=answer.distance,
        duration=answer.duration,
        limit=answer.limit,
    )
    return sorted([*points, asked], key=lambda p: p.speed_water_mps)


def _top(points: Sequence[RangePoint], asked_m: float | None) -> float:
    """The scale's end, nmi: the highest range, but neither half above the middles nor many times
    what was asked for: at a crawl it can be so far and so wide that all else would be flat.
    """
    middle = max(p.distance.mid or 0.0 for p in points)
    highest = min(max(_high(p) for p in points), 1.5 * middle)
    if asked_m:
        highest = min(highest, max(MOST_TIMES * asked_m, 2 * units.now().distance_m))
    return max(highest / units.now().distance_m * 1.04, 0.1)


def _low(point: RangePoint) -> float:
    low = point.distance.low
    return (point.distance.mid or 0.0) if low is None else low


def _high(point: RangePoint) -> float:
    high = point.distance.high
    return (point.distance.mid or 0.0) if high is None else high


def _nearest(speeds: Sequence[float], speed_kn: float) -> int:
    return min(range(len(speeds)), key=lambda k: abs(speeds[k] - speed_kn))


def _spot(
    speed_mps: float | None,
    speeds: Sequence[float],
    mids: Sequence[tuple[float, float]],
    text: str,
) -> Spot | None:
    """The point of the curve at a speed, between the speeds worked out; None outside them."""
    if speed_mps is None or not speeds[0] <= speed_mps / units.now().speed_mps <= speeds[-1]:
        return None
    speed_kn = speed_mps / units.now().speed_mps
    k = next(k for k in range(1, len(speeds)) if speed_kn <= speeds[k])
    part = (speed_kn - speeds[k - 1]) / (speeds[k] - speeds[k - 1])
    x = mids[k - 1][0] + part * (mids[k][0] - mids[k - 1][0])
    y = mids[k - 1][1] + part * (mids[k][1] - mids[k - 1][1])
    anchor = "end" if x > (LEFT + RIGHT) / 2 else "start"
    above = " ↑" if y < TOP else ""
    return Spot(x, max(y, TOP), f"{text} {speed_kn:.1f}{above}", anchor)


def _row(answer: RangeAnswer, point: RangePoint, xy: tuple[float, float]) -> dict[str, object]:
    return {
        "x": round(xy[0], 1),
        "y": round(max(xy[1], TOP), 1),
        "kn": round(point.speed_water_mps / units.now().speed_mps, 3),
        "speed": format.knots(point.speed_water_mps),
        "reach_m": round(point.distance.mid or 0.0),
        "reach": format.value(point.distance),
        "band": format.band(point.distance),
        "lasts": format.value(point.duration),
        "draws": sentences.draws(point.power),
        "ends": sentences.other_limit(answer, point),
    }


def rule(answer: RangeAnswer) -> Rule | None:
    """The reach as a rule, or None where it cannot be said."""
    low, mid, high = answer.distance.low, answer.distance.mid, answer.distance.high
    if low is None or mid is None or high is None or high <= 0:
        return None
    turn_m = answer.home.turn_in.low if answer.home and not answer.home.homeward else None
    top = high * 1.06
    wide = RULE_RIGHT - RULE_LEFT

    def at(distance_m: float) -> float:
        return round(RULE_LEFT + distance_m / top * wide, 1)

    return Rule(
        low=at(max(low, 0.0)),
        mid=at(mid),
        high=at(high),
        ticks=tuple(
            Tick(at(d * units.now().distance_m), f"{d:g}")
            for d in ticks(top / units.now().distance_m, 6)
        ),
        turn=at(turn_m) if turn_m is not None and 0 < turn_m <= top else None,
    )


@dataclass(frozen=True)
class Along:
    """Charge against the distance gone on a passage."""

    band: str  # SVG path
    middle: str  # SVG path
    reserve: float
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


def along(
    legs: Sequence[PlannedLeg], start_frac: float | None, reserve_frac: float
) -> Along | None:
    """Charge at the end of each leg with its range; None where it is not known.

    Args:
        legs: In order.
        start_frac: Charge at departure; None: the first leg is not drawn.
        reserve_frac: What is kept.
    """
    gone, points = 0.0, []
    if start_frac is not None:
        points.append((0.0, start_frac, start_frac, start_frac))
    for leg in legs:
        gone += leg.distance_m / units.now().distance_m
        low, mid, high = leg.charge.low, leg.charge.mid, leg.charge.high
        if low is not None and mid is not None and high is not None:
            points.append((gone, low, mid, high))
    if len(points) < 2 or gone <= 0:
        return None

    def at(miles: float, frac: float) -> tuple[float, float]:
        return 40 + miles / gone * 350, 172 - min(max(frac, 0.0), 1.0) * 152

    lows, mids, highs = ([at(p[0], p[k]) for p in points] for k in (1, 2, 3))
    return Along(
        band=band(lows, highs),
        middle=path(mids),
        reserve=at(0.0, reserve_frac)[1],
        across=tuple(Tick(at(d, 0.0)[0], f"{d:g}") for d in ticks(gone, 6)),
        up=tuple(Tick(at(0.0, f)[1], f"{100 * f:.0f}") for f in (0.0, 0.25, 0.5, 0.75, 1.0)),
    )


BARS_WIDTH = 100.0  # by definition: a share of the bar's own width


@dataclass(frozen=True)
class Bar:
    """An estimate as a bar on a scale of its own and its neighbours; 0 where it is not known."""

    zero: float
    start: float
    width: float
    low: float
    high: float
    gives: bool  # below zero: it puts back


def bars(estimates: Sequence[Estimate]) -> list[Bar]:
    """Bars that can be compared, from a common zero.

    Args:
        estimates: Of one unit.
    """
    ends = [v for e in estimates for v in (e.low, e.mid, e.high) if v is not None]
    bottom, top = min([*ends, 0.0]), max([*ends, 0.0])
    span = (top - bottom) or 1.0

    def at(value: float | None) -> float:
        return round(((value or 0.0) - bottom) / span * BARS_WIDTH, 2)

    return [
        Bar(
            zero=at(0.0),
            start=min(at(0.0), at(e.mid)),
            width=round(abs(at(e.mid) - at(0.0)), 2),
            low=at(e.mid if e.low is None else e.low),
            high=at(e.mid if e.high is None else e.high),
            gives=(e.mid or 0.0) < 0,
        )
        for e in estimates
    ]
