"""How far: composes charge, power curve, stream and the run-down into one answer."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analyzer.answers import beside_range, grounded
from analyzer.answers.flags import first_acts, over_unseen, standing
from analyzer.answers.snapshot import Here, here_now
from analyzer.environment import stream as streams
from analyzer.environment.stream_table import read_stream_table
from analyzer.environment.wind import Wind
from analyzer.estimation.estimate import cannot_say
from analyzer.estimation.ground import is_contradicted
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
    WayBack,
    along_track,
    home_reach,
    way_back,
)
from analyzer.range.monte_carlo import Ahead, ReachInput
from analyzer.range.reach import ReachResult, reach
from analyzer.series.log import OpenLog
from analyzer.series.series import load
from logger.units import UNDATED_S

# Assumed: age of a position that still says where the boat is; how far back and how finely a track
# is looked at.
POSITION_AGE_US = 10 * 60 * 1_000_000  # at most; assumed
TRACK_US, TRACK_STEP_S = 12 * 3600 * 1_000_000, 15.0

CAUTIONS = (
    "A range is no promise: keep the reserve, a sail ready and an anchor clear to let go.",
    "It knows no forecast: wind, sea and stream to come are drawn from how they usually change; "
    "the rules where you are and your own judgement come first.",
)


NO_PACK = "the pack's current and voltage are not in the log, so its charge is not known"
NO_CURRENT = "the pack's current is not in the log, so its charge is not known"
MEASURE = "measure pack voltage and current: `keelwatt check` shows what arrives"
SET_RIGHT = "see in `keelwatt check` what is wrong with the pack's readings, and set that right"
NO_VOLTAGE = (
    "the pack's voltage is not in the log, so its charge was only counted, from nobody knows where"
)
WRONG_SIGN = (
    "the pack's voltage rises when its current is said to be drawn, so the current comes with the "
    "wrong sign and nothing that rests on it can be believed"
)
SET_SIGN = (
    "set sign = -1 (or turn the 1 round) for the pack's current in the boat file: `keelwatt check` "
    "says more"
)


def range_left(
    log: OpenLog,
    speed_mps: float | None = None,
    stream: tuple[float, float] | None = None,
    home: WayHome | None = None,
    wind: tuple[float, float] | None = None,
) -> RangeAnswer:
    """How far, for how long, what ends it, and what would go further.

    See `with_question`.
    """
    return with_question(log, speed_mps, stream, home, wind)[0]


def with_question(
    log: OpenLog,
    speed_mps: float | None = None,
    stream: tuple[float, float] | None = None,
    home: WayHome | None = None,
    wind: tuple[float, float] | None = None,
) -> "tuple[RangeAnswer, Asked | None]":
    """How far, and the question with its draws; None where the charge is not known.

    Args:
        log: The log and its boat.
        speed_mps: Through water; None: the present one, or the best where the boat is not motoring.
        stream: Given by the user: speed [m/s] and direction it goes toward [deg true].
        wind: Given by the user: true wind [m/s] and direction it comes from [deg true].
        home: Also whether home can be reached, straight or back along the track; needs a home in
            the boat file and a position.
    Raises:
        BadRoute: A table of the stream on the way home cannot be read.
    """
    span = log.store.span()
    end_us = span[1] + 1 if span else 0
    here = here_now(log, end_us)
    if stream is not None:
        here = replace(here, stream=streams.given(*stream, t_s=end_us / 1e6))
    if wind is not None:
        here = replace(here, wind=Wind(*wind, sd_mps=0.5 + 0.1 * wind[0]))
    answer, asked = _on_its_grounds(log, here, end_us, speed_mps, home)
    return grounded.of_range(answer, here.grounds), asked


@dataclass(frozen=True)
class Asked:
    """A question as it was put, and what came of it.

    k: Index of the speed that the answer is about.
    """

    log: OpenLog
    here: Here
    end_us: int
    given: ReachInput
    result: ReachResult
    k: int

    def situation(self, answer: RangeAnswer) -> advice.Situation:
        """What the next action is chosen from: what the boat does, its reserve, its flags."""
        urgent, warned = first_acts(answer.flags, answer.doing.startswith(inputs.MOTOR_OFF))
        return advice.Situation(
            steady=answer.motoring,
            doing=answer.doing,
            power_w=answer.power_w,
            soc_frac=answer.charge.mid if answer.charge.mid is not None else 1.0,
            reserve_frac=answer.reserve_frac,
            urgent=urgent,
            warned=warned,
        )

    def with_action(self, answer: RangeAnswer, back: HomeReach | None = None) -> RangeAnswer:
        """The answer with what to do next."""
        action = advice.next_in(self.situation(answer), self.result, self.k, back)
        return replace(answer, next_action=action)


def _on_its_grounds(
    log: OpenLog, here: Here, end_us: int, speed_mps: float | None, home: WayHome | None
) -> tuple[RangeAnswer, Asked | None]:
    """The answer if everything that it rests on is as it is read, and its question."""
    if here.charge is None or here.charge.sign_reversed:
        answer = _without_charge(log, here, end_us, speed_mps)
        return (replace(answer, home_reason=answer.charge.reason) if home else answer), None
    wanted_mps = _own_speed(here) if speed_mps is None else speed_mps
    known = inputs.RangeInputs.from_snapshot(log.boat, here, place_deg=_sun_place(log, here))
    given = known.question(also_mps=wanted_mps)
    result = reach(given)
    asked = Asked(log, here, end_us, given, result, _index(result, wanted_mps))
    answer = _answer(asked, about=_about(here, speed_mps, wanted_mps))
    answer = beside_range.with_sails(answer, given, asked.k)
    answer = asked.with_action(answer)
    if home is not None:
        answer = _with_home(asked, answer, home if isinstance(home, HomeWish) else HomeWish(home))
    if speed_mps is not None:
        answer = replace(answer, power_w=result.power(asked.k).mid)
    hint = advice.calibration_hint(here.charge, result, asked.k, given.charge)
    if not hint or (answer.home and not answer.home.turn_in.low):
        return answer, asked  # who must turn has other cares than what would narrow the range
    distance = replace(answer.distance, missing=(*answer.distance.missing, hint))
    return replace(answer, distance=distance), asked


def _own_speed(here: Here) -> float | None:
    """Speed that the present power gives, where the boat motors and is not steady. [m/s]"""
    if here.present is not None or here.throttle_w is None:
        return None
    return inputs.speed_at_w(here.curve, here.throttle_w)


def _about(here: Here, asked_mps: float | None, wanted_mps: float | None) -> About:
    """What the speed is that the answer is about."""
    if asked_mps is not None:
        return "asked"
    if here.present is not None:
        return "present"
    return "power" if wanted_mps is not None else "furthest"


def _last_fix(log: OpenLog, oldest_us: int = 0) -> tuple[float, float] | None:
    """Latitude and longitude last read; None where older than a time of the timeline. [µs]"""
    lat, lon = log.store.last("latitude_deg"), log.store.last("longitude_deg")
    return (lat[1], lon[1]) if lat and lon and lat[0] >= oldest_us else None


def _sun_place(log: OpenLog, here: Here) -> tuple[float, float] | None:
    """The last fix, where the sun matters."""
    return _last_fix(log) if here.solar_w[0] > 0 else None


def _index(result: ReachResult, speed_mps: float | None) -> int:
    """Of the speed answered for: the wanted one, the present one, the one that goes furthest."""
    if speed_mps is not None:
        return result.nearest(speed_mps)
    if result.as_now is not None:
        return result.as_now
    best = result.best()
    return best if best is not None else result.nearest(float(np.median(result.speeds_mps)))


def _with_home(asked: Asked, answer: RangeAnswer, wish: HomeWish) -> RangeAnswer:
    """The answer with the way home in it, or with why there is none."""
    way = way_home(asked, wish)
    if isinstance(way, str):
        return replace(answer, home_reason=way)
    back = home_reach(asked.given, asked.result.distance_m[:, asked.k], asked.k, way)
    answer = replace(answer, home=home_answer(_home_name(asked.log), wish, back))
    return asked.with_action(answer, back)


def way_home(asked: Asked, wish: HomeWish) -> WayBack | str:
    """The way home as it is wished, or why there is none."""
    log = asked.log
    if log.boat.home is None:
        return "the boat file names no [home]"
    fix = _last_fix(log, asked.end_us - POSITION_AGE_US)
    if fix is None:
        return "the log has no position of the last ten minutes"
    utc_s = asked.end_us / 1e6
    way = way_back(log.boat, fix, utc_s if utc_s > UNDATED_S else None)
    assert way is not None  # there is a home
    if wish.way == "track":
        place = (log.boat.home.latitude_deg, log.boat.home.longitude_deg)
        along_m = _track_m(log, place, asked.end_us)
        way = replace(way, distance_m=max(along_m, way.distance_m))
    return replace(way, ahead=_ahead(wish, utc_s))


def _home_name(log: OpenLog) -> str:
    return log.boat.home.name if log.boat.home else ""


def _ahead(wish: HomeWish, utc_s: float) -> Ahead:
    """The stream on the way home, from a time on."""
    if isinstance(wish.stream, Path):
        return read_stream_table(wish.stream, utc_s)
    if wish.stream is None:
        return "goes on"
    return "stays" if wish.stream == "same" else "reversed"


def _track_m(log: OpenLog, home: tuple[float, float], end_us: int) -> float:
    """Distance home along the track of the trip that is going on; 0 where there is none."""
    trips = log.store.trips()
    start_us = trips[-1].start_us if trips else max(end_us - TRACK_US, 0)
    track = load(log.store, ("latitude_deg", "longitude_deg"), start_us, end_us, TRACK_STEP_S)
    return along_track(track.get("latitude_deg"), track.get("longitude_deg"), home) or 0.0


def _answer(asked: Asked, about: About = "present") -> RangeAnswer:
    """How far, by what came of the question."""
    log, here, result, k = asked.log, asked.here, asked.result, asked.k
    shares = result.limit_shares(k)
    used, missing = here.used, beside_range.missing(here)
    flows = beside_range.unmeasured_flows(log.boat, here)
    if flows:
        missing = (*missing, advice.unmeasured(result, k, flows))
    best = result.best()
    silence = advice.after_silence(here.charge) if here.charge else ""
    if silence:
        missing = (*missing, silence)
    return RangeAnswer(
        boat=log.boat.name,
        asked_utc_s=asked.end_us / 1e6,
        data_age_s=log.store.age_s(),
        motoring=here.present is not None,
        speed_water_mps=float(result.speeds_mps[k]),
        speed_ground_mps=result.ground_speed_mps(k),
        power_w=here.power_w,
        charge=replace(beside_range.charge(here.charge, asked.given, result), used=used),
        distance=replace(result.distance(k), used=used, missing=missing),
        duration=replace(result.duration(k), used=used),
        limit=next(iter(shares)),
        limit_shares=shares,
        curve=tuple(_point(result, i) for i in range(len(result.speeds_mps))),
        best_speed_mps=float(result.speeds_mps[best]) if best is not None else None,
        stream_mps=beside_range.stream_speed(here.stream),
        stream_toward_deg=beside_range.stream_toward(here.stream),
        next_action="",
        home=None,
        reserve_frac=log.boat.reserve.soc_frac,
        flags=standing(log),
        flags_over=over_unseen(log, asked.end_us),
        cautions=CAUTIONS,
        doing=here.doing,
        about=about,
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


def home_answer(name: str, wish: HomeWish, back: HomeReach) -> HomeAnswer:
    """The way home as the answer has it."""
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
        present_speed_water_mps=back.at_present.speed_mps,
        present_can_return_frac=back.at_present.can_return_frac,
        present_charge_on_arrival=back.at_present.charge_on_arrival,
        present_turn_in=back.at_present.turn_in,
        takes=back.chosen.takes,
        stream_gain=back.chosen.stream_gain,
        before_dark_frac=back.chosen.before_dark_frac,
        present_takes=back.at_present.takes,
        present_before_dark_frac=back.at_present.before_dark_frac,
    )


def _without_charge(log: OpenLog, here: Here, end_us: int, speed_mps: float | None) -> RangeAnswer:
    """As from a full pack, said so, where the pack is not measured or is measured wrongly."""
    why, first = (WRONG_SIGN, SET_SIGN) if here.charge else (NO_PACK, MEASURE)
    if not here.charge and "pack_voltage_v" in here.used and "pack_current_a" not in here.used:
        why = NO_CURRENT
    if not here.charge and "pack_current_a" in here.used and "pack_voltage_v" not in here.used:
        why = NO_VOLTAGE
    if not here.charge and is_contradicted(here.grounds, "charge"):
        first = SET_RIGHT
    known = inputs.RangeInputs(log.boat, None, here.curve, here.stream, wind=here.wind)
    given = known.question(also_mps=speed_mps)
    full = np.ones(len(given.charge["soc"]))
    given = replace(given, charge={**given.charge, "soc": full})
    result = reach(given)
    k = result.nearest(speed_mps or inputs.usual_speed_mps(log.boat.hull))
    answer = _answer(Asked(log, here, end_us, given, result, k))
    as_if = f"as if the pack were full: {why}; {result.reason}"
    return replace(
        answer,
        power_w=result.power(k).mid if speed_mps is not None else None,
        charge=cannot_say(why, "frac"),
        distance=replace(answer.distance, reason=as_if, used=("hull",), missing=()),
        duration=replace(answer.duration, reason=as_if, used=("hull",)),
        next_action=first,
    )
