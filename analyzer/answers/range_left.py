"""How far: composes charge, power curve, stream and the run-down into one answer."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from analyzer.answers import grounded
from analyzer.answers.flags import flag_view
from analyzer.answers.snapshot import Here, here_now
from analyzer.environment import stream as streams
from analyzer.environment.stream import Stream
from analyzer.environment.stream_table import read_stream_table
from analyzer.environment.wind import Wind
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import (
    About,
    HomeAnswer,
    HomeWish,
    RangeAnswer,
    RangePoint,
    WayHome,
)
from analyzer.range import advice, inputs
from analyzer.range.home import (
    HomeReach,
    along_track,
    geodesic,
    home_reach,
)
from analyzer.range.monte_carlo import Ahead
from analyzer.range.reach import (
    ReachInput,
    ReachResult,
    middle,
    reach,
)
from analyzer.series.log import Context
from analyzer.series.series import load

POSITION_AGE_US = 10 * 60 * 1_000_000
TRACK_US, TRACK_STEP_S = 12 * 3600 * 1_000_000, 15.0

CAUTIONS = (
    "A range is no promise: keep the reserve, a sail ready and an anchor clear to let go.",
    "It knows nothing of what wind, sea and stream will do next; the rules where you are and "
    "your own judgement come first.",
)


NO_PACK = "the pack's current and voltage are not in the log, so its charge is not known"
MEASURE = "measure pack voltage and current: `keelwatt check` shows what arrives"
WRONG_SIGN = (
    "the pack's voltage rises when its current is said to be drawn, so the current comes with the "
    "wrong sign and nothing that rests on it can be believed"
)
SET_SIGN = (
    "set sign = -1 (or turn the 1 round) for the pack's current in the boat file: `keelwatt check` "
    "says more"
)


def range_left(
    ctx: Context,
    speed_mps: float | None = None,
    stream: tuple[float, float] | None = None,
    home: WayHome | None = None,
    wind: tuple[float, float] | None = None,
) -> RangeAnswer:
    """How far, for how long, what ends it, and what would go further.

    Args:
        ctx: The log and its boat.
        speed_mps: Through water; None: the present one, or the best where the boat is not motoring.
        stream: Given by the user: speed [m/s] and direction it goes toward [deg true].
        wind: Given by the user: true wind [m/s] and direction it comes from [deg true].
        home: Also whether home can be reached, straight or back along the track; needs a home in
            the boat file and a position.
    Raises:
        BadRoute: A table of the stream on the way home cannot be read.
    """
    span = ctx.store.span()
    end_us = span[1] + 1 if span else 0
    here = here_now(ctx, end_us)
    if stream is not None:
        here = replace(here, stream=streams.given(*stream, t_s=end_us / 1e6))
    if wind is not None:
        here = replace(here, wind=Wind(*wind, sd_mps=0.5 + 0.1 * wind[0]))
    return grounded.of_range(_on_its_grounds(ctx, here, end_us, speed_mps, home), here.grounds)


def _on_its_grounds(
    ctx: Context, here: Here, end_us: int, speed_mps: float | None, home: WayHome | None
) -> RangeAnswer:
    """The answer if everything that it rests on is as it is read."""
    if here.charge is None or here.charge.sign_reversed:
        answer = _without_charge(ctx, here, end_us, speed_mps)
        return replace(answer, home_reason=answer.charge.reason) if home else answer
    own_mps = _own_speed(here) if speed_mps is None else None
    given = _question(ctx, here, speed_mps if speed_mps is not None else own_mps)
    result = reach(given)
    k = _asked(result, speed_mps if speed_mps is not None else own_mps)
    answer = _answer(ctx, here, given, result, k, end_us)
    answer = replace(answer, about=_about(here, speed_mps, own_mps))
    answer = replace(answer, next_action=advice.next_in(_situation(answer), result, k))
    if home is not None:
        wish = home if isinstance(home, HomeWish) else HomeWish(home)
        answer = _with_home(ctx, answer, given, result, k, wish)
    if speed_mps is not None:
        answer = replace(answer, power_w=result.power(k).mid)
    lesson = advice.lesson(here.charge, result, k, given.charge)
    if not lesson or (answer.home and not answer.home.turn_in.low):
        return answer  # who must turn has other cares than what a lesson would tell
    distance = replace(answer.distance, missing=(*answer.distance.missing, lesson))
    return replace(answer, distance=distance)


def _own_speed(here: Here) -> float | None:
    """Speed that the present power gives, where the boat motors and is not steady. [m/s]"""
    if here.present is not None or here.throttle_w is None:
        return None
    return inputs.speed_at_w(here.curve, here.throttle_w)


def _about(here: Here, asked_mps: float | None, own_mps: float | None) -> About:
    """What the speed is that the answer is about."""
    if asked_mps is not None:
        return "asked"
    if here.present is not None:
        return "present"
    return "power" if own_mps is not None else "furthest"


def _question(ctx: Context, here: Here, speed_mps: float | None) -> ReachInput:
    assert here.charge is not None
    given = inputs.question(
        ctx.boat,
        here.charge,
        here.curve,
        here.stream,
        weakest=here.weakest,
        present=here.present,
        hotel_w=here.hotel_w,
        solar_w=here.solar_w,
        wind=here.wind,
        place=_place(ctx, here),
        warmths=here.warmths,
    )
    if speed_mps is None:
        return given
    speeds = np.unique(np.append(given.speeds_mps, speed_mps))
    as_now = given.as_now
    if as_now is not None:
        as_now = int(np.searchsorted(speeds, given.speeds_mps[as_now]))
    return replace(given, speeds_mps=speeds, as_now=as_now)


def _place(ctx: Context, here: Here) -> tuple[float, float] | None:
    """Latitude and longitude of the last fix, where the sun matters."""
    if here.solar_w[0] <= 0:
        return None
    lat, lon = ctx.store.last("latitude_deg"), ctx.store.last("longitude_deg")
    return (lat[1], lon[1]) if lat and lon else None


def _asked(result: ReachResult, speed_mps: float | None) -> int:
    if speed_mps is not None:
        return result.nearest(speed_mps)
    if result.as_now is not None:
        return result.as_now
    best = result.best()
    return best if best is not None else result.nearest(float(np.median(result.speeds_mps)))


def _with_home(
    ctx: Context,
    answer: RangeAnswer,
    given: ReachInput,
    result: ReachResult,
    k: int,
    wish: HomeWish,
) -> RangeAnswer:
    """The answer with the way home in it, or with why there is none."""
    place, end_us = ctx.boat.home, round(answer.asked_utc_s * 1e6)
    lat, lon = ctx.store.last("latitude_deg"), ctx.store.last("longitude_deg")
    if place is None:
        return replace(answer, home_reason="the boat file names no [home]")
    if lat is None or lon is None or end_us - lat[0] > POSITION_AGE_US:
        return replace(answer, home_reason="the log has no position of the last ten minutes")
    away_m, course_deg = geodesic(lat[1], lon[1], place.latitude_deg, place.longitude_deg)
    if wish.way == "track":
        away_m = max(_track_m(ctx, (place.latitude_deg, place.longitude_deg), end_us), away_m)
    sureness = ctx.boat.reserve.return_sureness_frac
    back = home_reach(given, result, k, away_m, course_deg, sureness, ahead=_ahead(wish))
    return replace(
        answer,
        home=_home_answer(place.name, wish, back),
        next_action=advice.next_in(_situation(answer), result, k, back),
    )


def _ahead(wish: HomeWish) -> Ahead:
    """The stream on the way home."""
    if isinstance(wish.stream, Path):
        return read_stream_table(wish.stream)
    if wish.stream is None:
        return "goes on"
    return "stays" if wish.stream == "same" else "reversed"


def _track_m(ctx: Context, home: tuple[float, float], end_us: int) -> float:
    """Distance home along the track of the trip that is going on; 0 where there is none."""
    trips = ctx.store.trips()
    start_us = trips[-1].start_us if trips else max(end_us - TRACK_US, 0)
    track = load(ctx.store, ("latitude_deg", "longitude_deg"), start_us, end_us, TRACK_STEP_S)
    return along_track(track.get("latitude_deg"), track.get("longitude_deg"), home) or 0.0


def _answer(
    ctx: Context,
    here: Here,
    given: ReachInput,
    result: ReachResult,
    k: int,
    end_us: int,
) -> RangeAnswer:
    shares = result.limit_shares(k)
    used, missing = here.used, _missing(here)
    best = result.best()
    silence = advice.after_silence(here.charge) if here.charge else ""
    if silence:
        missing = (*missing, silence)
    return RangeAnswer(
        boat=ctx.boat.name,
        asked_utc_s=end_us / 1e6,
        data_age_s=ctx.store.age_s(),
        motoring=here.present is not None,
        speed_water_mps=float(result.speeds_mps[k]),
        speed_ground_mps=result.ground_speed_mps(k),
        power_w=here.power_w,
        charge=replace(middle(result.soc, "frac"), used=used),
        distance=replace(result.distance(k), used=used, missing=missing),
        duration=replace(result.duration(k), used=used),
        limit=next(iter(shares)),
        limit_shares=shares,
        curve=tuple(_point(result, i) for i in range(len(result.speeds_mps))),
        best_speed_mps=float(result.speeds_mps[best]) if best is not None else None,
        stream_mps=_stream_speed(here.stream),
        stream_toward_deg=_stream_toward(here.stream),
        next_action="",
        home=None,
        reserve_frac=ctx.boat.reserve.soc_frac,
        flags=tuple(flag_view(f) for f in ctx.store.flags() if f.cleared_us is None),
        cautions=CAUTIONS,
        doing=here.doing,
    )


def _situation(answer: RangeAnswer) -> advice.Situation:
    """What the next action is chosen from: what the boat does, its reserve, standing flags."""
    level = {flag.level: flag.first_action for flag in reversed(answer.flags)}
    return advice.Situation(
        steady=answer.motoring,
        doing=answer.doing,
        power_w=answer.power_w,
        soc_frac=answer.charge.mid if answer.charge.mid is not None else 1.0,
        reserve_frac=answer.reserve_frac,
        urgent=level.get("act now", ""),
        warned=level.get("warning", ""),
    )


def _point(result: ReachResult, i: int) -> RangePoint:
    return RangePoint(
        speed_water_mps=float(result.speeds_mps[i]),
        speed_ground_mps=result.ground_speed_mps(i),
        power=result.power(i),
        distance=result.distance(i),
        duration=result.duration(i),
        limit=next(iter(result.limit_shares(i))),
    )


def _home_answer(name: str, wish: HomeWish, back: HomeReach) -> HomeAnswer:
    return HomeAnswer(
        name=name,
        distance_m=back.distance_m,
        sureness_frac=back.sureness_frac,
        can_return_frac=back.can_return_frac,
        turn_in=back.turn_in,
        charge_on_arrival=back.charge_on_arrival,
        way=wish.way,
        stream=f"as in {wish.stream.name}" if isinstance(wish.stream, Path) else back.stream,
        speed_water_mps=back.back_speed_mps,
        homeward=back.homeward,
    )


def _stream_speed(stream: Stream) -> Estimate:
    if not stream.known:
        return cannot_say(stream.reason, "m/s")
    east, north = stream.draws(2000, np.random.default_rng(1))
    return replace(middle(np.hypot(east, north), "m/s", stream.reason), used=stream.used)


def _stream_toward(stream: Stream) -> Estimate:
    if not stream.known:
        return cannot_say(stream.reason, "deg")
    half = Z80 * stream.toward_sd_deg
    if half >= 90.0:
        return cannot_say("the stream is too weak for its direction to be known", "deg")
    mid = stream.toward_deg
    return Estimate(mid, mid - half, mid + half, "deg", reason=stream.reason, used=stream.used)


def _missing(here: Here) -> tuple[str, ...]:
    wants = (
        ("speed_ground_mps", "a GPS would tie the range to the speed over ground"),
        ("heading_magnetic_deg", "a compass would let the stream be told from the boat"),
        ("speed_water_mps", "a water-speed log would sharpen the stream and the power curve"),
        ("pack_temp_c", "a temperature probe on the pack would sharpen its resistance"),
    )
    there = set(here.used)
    if "heading_true_deg" in there:
        there.add("heading_magnetic_deg")
    return tuple(text for name, text in wants if name not in there)


def _without_charge(
    ctx: Context, here: Here, end_us: int, speed_mps: float | None = None
) -> RangeAnswer:
    """As from a full pack, said so, where the pack is not measured or is measured wrongly."""
    why, first = (WRONG_SIGN, SET_SIGN) if here.charge else (NO_PACK, MEASURE)
    given = inputs.without_log(ctx.boat, here.curve, here.stream)
    full = np.ones(len(given.charge["soc"]))
    asked = replace(given, charge={**given.charge, "soc": full}, wind=here.wind)
    if speed_mps is not None:
        asked = replace(asked, speeds_mps=np.unique(np.append(asked.speeds_mps, speed_mps)))
    result = reach(asked)
    best = result.best()
    k = result.nearest(speed_mps or inputs.usual_speed_mps(ctx.boat.hull))
    as_if = f"as if the pack were full: {why}; {result.reason}"
    return RangeAnswer(
        boat=ctx.boat.name,
        asked_utc_s=end_us / 1e6,
        data_age_s=ctx.store.age_s(),
        motoring=here.present is not None,
        speed_water_mps=float(result.speeds_mps[k]),
        speed_ground_mps=result.ground_speed_mps(k),
        power_w=result.power(k).mid if speed_mps is not None else None,
        charge=cannot_say(why, "frac"),
        distance=replace(result.distance(k), reason=as_if, used=("hull",)),
        duration=replace(result.duration(k), reason=as_if, used=("hull",)),
        limit=next(iter(result.limit_shares(k))),
        limit_shares=result.limit_shares(k),
        curve=tuple(_point(result, i) for i in range(len(result.speeds_mps))),
        best_speed_mps=float(result.speeds_mps[best]) if best is not None else None,
        stream_mps=_stream_speed(here.stream),
        stream_toward_deg=_stream_toward(here.stream),
        next_action=first,
        home=None,
        reserve_frac=ctx.boat.reserve.soc_frac,
        flags=tuple(flag_view(f) for f in ctx.store.flags() if f.cleared_us is None),
        cautions=CAUTIONS,
        doing=here.doing,
    )
