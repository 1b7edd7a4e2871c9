"""The sentences that the pages and the command line both say."""

from dataclasses import dataclass

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.ground import OLD_S
from analyzer.estimation.results import (
    BEYOND,
    CheckAnswer,
    FlagView,
    HomeAnswer,
    QuestionRow,
    RangeAnswer,
    RangePoint,
    TripRow,
)
from analyzer.faces import format

CELLS_SOUND = "No cell is falling behind the others."
NO_JOINT_OHM = 5e-6  # by definition: what is less is shown as 0.00 mΩ
SHORT_S = 60.0  # of a trip that is not recorded: less is not worth a word (assumed)
CABLES_SOUND = "No cable is hotter than its current should make it."


# What the answer is about stands before its figures.
_AT = {
    "present": "At {speed} through the water",
    "asked": "At {speed} through the water",
    "power": "At the present power, which gives about {speed} through the water once steady,",
    "furthest": "At {speed} through the water, where the pack goes furthest,",
}


def how_far(answer: RangeAnswer) -> str:
    """The one sentence, for the command line."""
    distance = answer.distance
    if distance.mid is None:
        why = f"How far cannot be said: {distance.reason or 'too little is known yet'}"
        return f"{why}{_if_full(answer)}"
    reach = format.band(distance, long=True) + or_more(answer)
    often = format.coverage(distance.coverage)
    most = f"most likely {format.value(distance)}"
    return f"{_about(answer, conditions(answer))} {reach}, {often}; {most}"


def or_more(answer: RangeAnswer) -> str:
    """Said after a range whose upper end is no end: a run is followed for three days at most."""
    beyond = answer.limit_shares.get(BEYOND, 0.0) >= (1 - answer.distance.coverage) / 2
    return " or more" if beyond else ""


def lead(answer: RangeAnswer) -> str:
    """What stands before the page's number; the page says elsewhere how old the data are."""
    return _about(answer, format.capital(answer.condition))


def _about(answer: RangeAnswer, first: str) -> str:
    """What the distance is about, after what is broken of its grounds."""
    speed = answer.speed_water_mps
    at = _AT[answer.about].format(speed=format.knots(speed)) if speed else "From here"
    if answer.without_sails is not None:
        at = f"With the sails drawing as they do, {at[:1].lower()}{at[1:]}"
    if first:
        at = f"{first}, {at[:1].lower()}{at[1:]}"
    return f"{at} you can go"


def without_sails(answer: RangeAnswer) -> str:
    """What is left of it under motor alone, where sails probably help; else empty."""
    alone = answer.without_sails
    if alone is None:
        return ""
    reach = format.band(alone, long=True)
    return (
        f"You sail along: without the sails it is {reach} at this speed. If none is set, the power "
        "is read too low"
    )


def _if_full(answer: RangeAnswer) -> str:
    """What a full pack would give, where the charge is not known."""
    if answer.charge.known:
        return ""
    point = next((p for p in answer.curve if p.speed_water_mps == answer.speed_water_mps), None)
    if point is None or not point.distance.known:
        return ""
    speed = format.knots(point.speed_water_mps)
    reach = format.band(point.distance, long=True)
    return f". If the pack is full: {reach} at {speed}, {format.coverage(point.distance.coverage)}"


def conditions(answer: RangeAnswer) -> str:
    """What the answer is about where that is not now, and what of its grounds is broken."""
    parts = [answer.condition] if answer.condition else []
    if is_old(answer):
        parts.insert(0, f"when this log ended, {format.age(answer.data_age_s)}")
    return format.capital(", ".join(parts))


def is_old(answer: RangeAnswer) -> bool:
    """Whether the newest reading is not of now."""
    return answer.data_age_s is not None and answer.data_age_s > OLD_S


_LIMITS = {
    "weakest cell's cut-off": "the cut-off of the weakest cell or block",
    "controller cutback": "the controller, which gives less at low voltage",
    "pack cut-off": "the pack's cut-off",
    "motor's temperature": "the motor, too hot to hold this speed (slower it goes on)",
    "controller's temperature": "the controller, too hot to hold this speed (slower it goes on)",
    BEYOND: "nothing within three days, beyond which is not looked",
}


def limit(answer: RangeAnswer, name: str) -> str:
    """What ends the run, as part of a sentence."""
    if name == "reserve":
        return f"the reserve of {format.percent(answer.reserve_frac)}"
    return _LIMITS.get(name, name)


def other_limit(answer: RangeAnswer, point: RangePoint) -> str:
    """What ends a speed of the curve where that is not what ends the answer; else empty."""
    if point.limit in ("", answer.limit):
        return ""
    return f"What ends it there: {limit(answer, point.limit)}"


def ends(answer: RangeAnswer) -> str:
    """What ends the run, and what else might; empty where it is not known."""
    if not answer.limit:
        return ""
    others = [
        f"{limit(answer, name)} ({format.percent(share)})"
        for name, share in sorted(answer.limit_shares.items(), key=lambda item: -item[1])
        if name != answer.limit and share >= 0.05
    ]
    or_else = f"; less often {', '.join(others)}" if others else ""
    return f"What ends it: {limit(answer, answer.limit)}{or_else}."


def ends_short(answer: RangeAnswer) -> str:
    """What ends the run and when, for a glance."""
    if not answer.limit:
        return ""
    lasts = f", in {format.band(answer.duration)}{or_more(answer)}" if answer.duration.known else ""
    return f"What ends it: {limit(answer, answer.limit)}{lasts}."


def draws(point_power: Estimate) -> str:
    """What a speed takes from the pack."""
    if point_power.mid is not None and point_power.mid <= 0:
        return "the sun covers it"
    return format.power(point_power.mid)


def joint(excess: Estimate) -> str:
    """A joint's resistance in excess, as the voltage drop tells it, or else its heat."""
    if excess.mid is None:
        return format.band(excess)
    if excess.high is not None and excess.high < NO_JOINT_OHM:
        return "nothing too much"
    if "controller_voltage_v" in excess.used:
        return f"{format.band(excess)} too much, by the voltage drop"
    return f"{format.band(excess)} too much, if nothing else warms it"


def stream(answer: RangeAnswer) -> str:
    """Set and drift in words."""
    if answer.stream_mps.mid is None:
        return answer.stream_mps.reason or format.UNKNOWN
    if answer.stream_toward_deg.mid is None:
        return f"{mid_band(answer.stream_mps)}, its direction not known"
    toward = format.bearing(answer.stream_toward_deg.mid)
    return f"{mid_band(answer.stream_mps)} towards {toward}"


def home(answer: HomeAnswer) -> str:
    """Whether and when to turn."""
    sure = format.sureness(answer.can_return_frac)
    away = "back along your track" if answer.way == "track" else "away"
    back = ""
    if answer.speed_water_mps is not None:
        back = f" and going back at {format.knots(answer.speed_water_mps)} through the water"
    text = (
        f"Home, {answer.name}, is {format.miles(answer.distance_m)} {away}. Turning now{back}, you "
        f"are {sure} sure to be there above the reserve, with the stream {answer.stream}."
    )
    text += _on_the_way(answer) + _home_as_now(answer)
    turn, wanted = answer.turn_in, format.percent(answer.sureness_frac)
    if answer.homeward:
        asked = (
            "" if answer.can_return_frac >= answer.sureness_frac else f"; you asked for {wanted}"
        )
        return f"{text} You are on your way home{asked}."
    if turn.low is None:
        return f"{text} {format.sentence(turn.reason)}".strip()
    if turn.low <= 0:
        return f"{text} Turn now: you asked for {wanted}."
    return f"{text} To keep {wanted} sureness, turn within {format.miles(turn.low)}."


def home_short(answer: HomeAnswer) -> str:
    """The way home for a glance: how sure it is if turned now, and when to turn."""
    sure = format.sureness(answer.can_return_frac)
    far = f"{answer.name}, {format.miles(answer.distance_m)}"
    if answer.homeward:
        return f"On the way home to {far}: {sure} sure."
    turn = answer.turn_in
    if turn.low is None:
        when = ""
    elif turn.low <= 0:
        when = " Turn now."
    else:
        when = f" Turn within {format.miles(turn.low)}."
    return f"Home, {far}: {sure} sure if you turn now.{when}"


def _on_the_way(answer: HomeAnswer) -> str:
    """How long home takes, what the stream does there, and whether it is still light."""
    if answer.takes is None or answer.takes.mid is None:
        return ""
    text = f" That takes {format.duration(answer.takes.mid)}"
    gain = answer.stream_gain
    if gain is not None and gain.mid is not None and gain.low is not None and gain.high is not None:
        if gain.low > 0:
            text += f", with {format.knots(gain.mid)} of stream behind you"
        elif gain.high < 0:
            text += f", against {format.knots(-gain.mid)} of stream"
    if answer.before_dark_frac is not None:
        text += f"; before sunset: {format.sureness(answer.before_dark_frac)} sure"
    return f"{text}."


def _home_as_now(answer: HomeAnswer) -> str:
    """The way home at the speed that the range is about, where that is another."""
    speed, surest = answer.present_speed_water_mps, answer.speed_water_mps
    if speed is None or answer.present_can_return_frac is None:
        return ""
    if format.knots(speed) == format.knots(surest):
        return ""
    text = (
        f" At {format.knots(speed)} it would be {format.sureness(answer.present_can_return_frac)}"
    )
    takes, turn = answer.present_takes, answer.present_turn_in
    if takes is not None and takes.mid is not None:
        text += f" and take {format.duration(takes.mid)}"
    if answer.homeward or turn is None or turn.low is None:
        return f"{text}."
    return f"{text}: turn {'now' if turn.low <= 0 else f'within {format.miles(turn.low)}'}."


def no_home(answer: RangeAnswer) -> str:
    """Why nothing is said of the way home."""
    return format.sentence(f"the way home cannot be judged: {answer.home_reason}")


def trip_title(row: TripRow) -> str:
    """How far and how long. "12 nmi in 2 h 45 min"."""
    return f"{format.miles(row.distance_m)} in {format.duration(row.end_utc_s - row.start_utc_s)}"


def trip_short(row: TripRow) -> str:
    """What a trip took, beside its distance: time, energy, what a mile took."""
    parts = [format.duration(row.end_utc_s - row.start_utc_s)]
    if row.energy_out_wh is None:
        parts.append(f"energy {energy_unknown(row) or 'not measured'}")
    else:
        parts.append(format.energy(row.energy_out_wh))
    if row.motoring_wh_per_m is not None:
        parts.append(f"{format.consumption(row.motoring_wh_per_m)} under motor")
    return ", ".join([*parts, *filter(None, [not_counted(row)])])


def trip(row: TripRow) -> str:
    """What the trip was, in one sentence."""
    text = f"{trip_title(row)}, {_energy(row)}"
    if row.motoring_wh_per_m is not None:
        text += f"; motoring took {format.consumption(row.motoring_wh_per_m)}"
    if missing := not_counted(row):
        text += f"; {missing}"
    return format.sentence(text)


def _energy(row: TripRow) -> str:
    if row.energy_out_wh is None:
        return f"the energy {energy_unknown(row) or 'not measured'}"
    text = f"for {format.energy(row.energy_out_wh)}"
    if row.energy_in_wh:
        text += f" out of the pack and {format.energy(row.energy_in_wh)} back into it"
    return text


def energy_unknown(row: TripRow) -> str:
    """Why a trip's energy is not told though it was read; empty else."""
    return f"cannot be said: {row.energy_reason}" if row.energy_reason else ""


def not_counted(row: TripRow) -> str:
    """What of a trip's time is in none of its energy; empty where all of it is counted."""
    parts = []
    if row.unrecorded_s > SHORT_S:
        parts.append(f"{format.duration(row.unrecorded_s)} are not recorded")
    if row.unread_s > SHORT_S and row.energy_out_wh is not None:
        parts.append(f"{format.duration(row.unread_s)} without the pack's current or voltage")
    return f"{' and '.join(parts)}, and not counted" if parts else ""


@dataclass(frozen=True)
class Tested:
    """A test of the wiring. verdict: "right", "wrong" or "cannot say"."""

    question: str
    verdict: str
    text: str


VERDICTS = ("right", "wrong", "cannot say")


def tests(check: CheckAnswer) -> list[Tested]:
    """The tests of the wiring among a check's rows, what is wrong first."""
    split = ((row.question, *row.why.partition(": ")) for row in check.questions)
    found = [Tested(q, verdict, text) for q, verdict, _, text in split if verdict in VERDICTS]
    return sorted(found, key=lambda test: test.verdict != "wrong")


def asks(check: CheckAnswer) -> list[QuestionRow]:
    """The questions that can be asked of the log, the wiring left out."""
    return [row for row in check.questions if row.why.partition(": ")[0] not in VERDICTS]


def mid_band(estimate: Estimate) -> str:
    """ "64 % (61 to 67 %)"; the reason where there is no value."""
    if estimate.mid is None:
        return f"{format.UNKNOWN} ({estimate.reason})" if estimate.reason else format.UNKNOWN
    middle, band = format.value(estimate), format.band(estimate)
    return middle if band == middle else f"{middle} ({band})"


def flag_life(flag: FlagView) -> str:
    """Since when a flag stands, or from when to when it stood, and how long ago that is."""
    if flag.cleared_utc_s is None:
        return f"since {format.day(flag.raised_utc_s)}{_ago(flag.age_s)}"
    over_s = None if flag.age_s is None else flag.age_s - flag.cleared_utc_s + flag.raised_utc_s
    seen = "" if flag.seen_utc_s is not None else ", not yet seen"
    ended = format.until(flag.raised_utc_s, flag.cleared_utc_s)
    return f"{format.day(flag.raised_utc_s)} to {ended}, over{_ago(over_s)}{seen}"


def _ago(seconds: float | None) -> str:
    return "" if seconds is None else f", {format.age(seconds)}"


def flag_now(flag: FlagView) -> str:
    """The name of what a flag looked like when last looked at."""
    return "Now" if flag.cleared_utc_s is None else "At last"


def flag_over(flag: FlagView) -> str:
    """A flag that is over and that nobody has said to have seen, in one line."""
    return f"{format.capital(flag.level)} over: {flag.title} ({flag_life(flag)})"
