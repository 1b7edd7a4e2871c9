"""Answers as plain text for the command line: the answer first, the reason under it."""

from collections.abc import Sequence

from analyzer.estimation.detection import Detection
from analyzer.estimation.results import (
    CablesAnswer,
    CellsAnswer,
    FlagView,
    HomeAnswer,
    RangeAnswer,
    RangePoint,
    ReviewAnswer,
    SagAccount,
    TripRow,
)
from analyzer.faces import format, sentences
from analyzer.faces.cli.base import terminal
from analyzer.faces.cli.text.layout import (
    as_of,
    bullets,
    cautions,
    fitted,
    has_room,
    joined,
    named,
    table,
    wrapped,
)
from logger.units import KN

MOST_ROWS = 6  # of speeds, so that an answer fits a screen; common practice, no source
_MARK = {"notice": "o", "warning": "!", "act now": "!!"}


def range_left(answer: RangeAnswer) -> str:
    """The answer to "how far": the way home and what to do next before what they rest on."""
    parts = [_how_far(answer)]
    if answer.home:
        parts.append(home(answer.home))
    elif answer.home_reason:
        parts.append(wrapped(sentences.no_home(answer)))
    if answer.next_action:
        parts.append(wrapped(format.sentence(answer.next_action), "Next: ", "bold"))
    if answer.flags:
        parts.append(_flags_in_short(answer.flags))
    parts.append(bullets([sentences.flag_over(row) for row in answer.flags_over]))
    parts += [_because(answer), _facts(answer)]
    if answer.curve:
        parts.append(_curve(answer))
    parts.append(cautions(answer.cautions))
    return joined(parts)


def _flags_in_short(rows: Sequence[FlagView]) -> str:
    """A line for each flag: what it is and what to do first."""
    lines = [_flag_in_short(row) for row in rows]
    return "\n".join([*lines, wrapped(f"More: {terminal.program()} flags", "  ")])


def _flag_in_short(row: FlagView) -> str:
    first = format.sentence(row.first_action).partition(". ")[0].rstrip(".")
    what = f"{format.capital(row.title.rstrip('.'))} ({sentences.flag_life(row)})"
    text = f"{what}. {first}."
    return wrapped(text, f"{_MARK.get(row.level, '!')} ", row.level)


def _how_far(answer: RangeAnswer) -> str:
    text = format.sentence(sentences.how_far(answer))
    lasts = format.band(answer.duration) + sentences.or_more(answer)
    if answer.duration.mid is not None and answer.distance.mid is None:
        text += f" How long at this draw: {lasts}."
    elif answer.duration.mid is not None:
        then = "then" if sentences.is_old(answer) else "now"
        text += f" That is {lasts} from {then}."
    alone = sentences.without_sails(answer)
    return wrapped(f"{text} {format.sentence(alone)}" if alone else text, style="bold")


def _because(answer: RangeAnswer) -> str:
    reason = format.sentence(answer.distance.reason) if answer.distance.known else ""
    return joined((wrapped(line) for line in (sentences.ends(answer), reason)), "\n")


def _facts(answer: RangeAnswer) -> str:
    doing = "motoring steadily" if answer.motoring else answer.doing
    then = "" if answer.motoring and answer.about == "present" else " at that speed, not now"
    asked = answer.about == "asked"
    rows = [
        (
            "As of",
            f"{answer.boat}, {format.moment(answer.asked_utc_s, answer.data_age_s)}, {doing}",
        ),
        (
            "Charge",
            f"{sentences.mid_band(answer.charge)}; {format.percent(answer.reserve_frac)} is kept",
        ),
        ("Power", f"{format.power(answer.power_w)} from the pack{then if asked else ''}"),
        ("Over ground", format.knots(answer.speed_ground_mps) + then),
        ("Stream", sentences.stream(answer)),
    ]
    lines = [named(name, text) for name, text in rows]
    for text in answer.distance.missing:
        lines.append(named("Would help", text))
    return "\n".join(lines)


def _curve(answer: RangeAnswer) -> str:
    shown = _round_speeds(answer.curve)
    rows: list[tuple[str, ...]] = [("Speed", "Goes", "Lasts", "Draws")]
    rows += map(_curve_row, shown)
    if not has_room(rows):
        rows = [row[:2] + row[3:] for row in rows]  # how long is left out
    lines = [table(rows[0], rows[1:])]
    if answer.best_speed_mps:
        lines.append(f"  Goes furthest at {format.knots(answer.best_speed_mps)}.")
    for name in dict.fromkeys(p.limit for p in shown if p.limit not in ("", answer.limit)):
        speeds = [format.knots(p.speed_water_mps) for p in shown if p.limit == name]
        what = f"At {' and '.join(speeds)} what ends it is {sentences.limit(answer, name)}."
        lines.append(wrapped(what, "  "))
    return "\n".join(lines)


def _round_speeds(curve: Sequence[RangePoint]) -> Sequence[RangePoint]:
    """Those at whole steps of knots, few enough for a screen."""
    for step_kn in (0.5, 1.0, 2.0):
        steps = [point.speed_water_mps / KN / step_kn for point in curve]
        shown = [p for p, n in zip(curve, steps, strict=True) if abs(n - round(n)) < 0.01]
        if len(shown) <= MOST_ROWS:
            return shown or curve
    return curve


def _curve_row(point: RangePoint) -> tuple[str, ...]:
    return (
        format.knots(point.speed_water_mps),
        format.band(point.distance),
        format.band(point.duration),
        sentences.draws(point.power),
    )


def home(answer: HomeAnswer) -> str:
    """Whether and when to turn, in one paragraph."""
    return wrapped(sentences.home(answer))


def trips(rows: Sequence[TripRow]) -> str:
    """The list of trips."""
    if not rows:
        return "No trip yet: a trip is at least five minutes moving."
    zone = format.zone_name(rows[-1].start_utc_s)
    heads = ("Trip", f"Start ({zone})", "Lasted", "Distance", "Used", "Put back")
    every = [heads, *map(_trip_cells, rows)]
    head, *lines = fitted(every, right={0})
    told = [head] if has_room(every) else []
    for row, line in zip(rows, lines, strict=True):
        told.append(line)
        for said in filter(None, (sentences.energy_unknown(row), sentences.not_counted(row))):
            about = "The energy " if said.startswith("cannot") else ""
            told.append(wrapped(format.sentence(about + said), lead="        "))
    return "\n".join(told)


def _trip_cells(row: TripRow) -> tuple[str, ...]:
    return (
        f"{row.number}",
        format.day(row.start_utc_s),
        format.duration(row.end_utc_s - row.start_utc_s),
        format.miles(row.distance_m),
        format.energy(row.energy_out_wh),
        format.energy(row.energy_in_wh),
    )


def review(answer: ReviewAnswer) -> str:
    """One trip, explained."""
    parts = [_trip_head(answer.trip), _legs(answer.trip), _ledger(answer)]
    parts += [sag(account) for account in answer.sag]
    if answer.flags:
        parts.append(flags(answer.flags))
    parts.append(bullets(answer.remarks))
    return joined(parts)


def _trip_head(row: TripRow) -> str:
    start, end = format.day(row.start_utc_s), format.clock(row.end_utc_s)
    before, after = sentences.mid_band(row.charge_start), sentences.mid_band(row.charge_end)
    charge = f"Charge {before} at the start, {after} at the end."
    head = f"Trip {row.number}, {start} to {end} {format.zone_name(row.start_utc_s)}."
    return wrapped(f"{head} {sentences.trip(row)} {charge}")


def _legs(row: TripRow) -> str:
    rows = [
        (
            f"{format.clock(leg.start_utc_s)} to {format.clock(leg.end_utc_s)}",
            leg.doing,
            format.miles(leg.distance_m),
            format.knots(leg.mean_speed_mps),
            format.energy(leg.energy_wh),
        )
        for leg in row.legs
    ]
    return joined(["Legs", *_plain(rows)], "\n") if rows else ""


def _plain(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows of a table that needs no heads."""
    return fitted([[""] * len(rows[0]), *rows])[1:] if rows else []


def _ledger(answer: ReviewAnswer) -> str:
    if not answer.ledger:
        return ""
    head = wrapped("Where the watt-hours went (out of the pack is positive)")
    rows = [(row.text, sentences.mid_band(row.energy)) for row in answer.ledger]
    return "\n".join([head, *_plain(rows)])


def sag(account: SagAccount) -> str:
    """Where the volts went."""
    lost = account.rest_v - account.loaded_v
    lines = [
        wrapped(f"Where the volts went: {account.text}, {format.clock(account.utc_s)}"),
        wrapped(
            f"At {format.amperes(account.current_a)}: {account.rest_v:.2f} V at rest, "
            f"{account.loaded_v:.2f} V loaded, {lost:.2f} V lost",
            "  ",
        ),
    ]
    lines += _plain([(f"  {term.text}", sentences.mid_band(term.volts)) for term in account.terms])
    lines.append(wrapped(format.sentence(account.sentence), "  "))
    return "\n".join(lines)


def cells(answer: CellsAnswer) -> str:
    """Health of the cells."""
    parts = [findings(answer.findings, answer.not_measured or sentences.CELLS_SOUND)]
    if answer.spread.mid is not None:
        parts.append(f"Highest less lowest under load: {sentences.mid_band(answer.spread)}.")
    if answer.rows:
        offsets = format.bands([row.offset for row in answer.rows])
        resistances = format.bands([row.resistance for row in answer.rows])
        seen = [f"{row.lowest_v:.3f} to {row.highest_v:.3f} V" for row in answer.rows]
        names = [row.name for row in answer.rows]
        columns = zip(names, offsets, resistances, seen, strict=True)
        parts.append(table(("Cell", "Off the others", "Resistance", "Seen"), list(columns)))
    parts += [bullets(answer.remarks), as_of(answer.asked_utc_s, answer.data_age_s)]
    return joined(parts)


def cables(answer: CablesAnswer) -> str:
    """Health of the cables."""
    parts = [findings(answer.findings, answer.not_measured or sentences.CABLES_SOUND)]
    for row in answer.rows:
        lines = [
            format.capital(row.name.replace("_", " ")),
            named(
                "May carry", f"{format.band(row.ampacity)}; carried {_amps(row.highest_current_a)}"
            ),
            named(
                "Rise", f"{format.band(row.found_rise)} found, {format.band(row.expected_rise)} due"
            ),
            named("Joint", sentences.joint(row.excess_resistance)),
            named(
                "Settles at", f"{format.band(row.settles_at)}; limit {format.celsius(row.limit_c)}"
            ),
        ]
        if row.crosses_limit_in.mid is not None:
            lines.append(named("At limit in", format.band(row.crosses_limit_in)))
        parts.append("\n".join(lines))
    parts += [bullets(answer.remarks), as_of(answer.asked_utc_s, answer.data_age_s)]
    return joined(parts)


def _amps(current_a: float | None) -> str:
    return "a current not measured" if current_a is None else f"{format.amperes(current_a)} at most"


def findings(rows: Sequence[Detection], none: str) -> str:
    """Findings: what, how sure, what cures it; a sentence where there are none."""
    return joined(_finding(row) for row in rows) if rows else none


def _finding(row: Detection) -> str:
    lines = [wrapped(f"{format.sentence(row.text)} {_sure(row.sureness_frac)}", "* ")]
    if row.cure:
        lines.append(wrapped(format.sentence(row.cure), "  Cure: "))
    if row.caution:
        lines.append(wrapped(format.sentence(row.caution), "  Caution: "))
    return "\n".join(lines)


def _sure(frac: float) -> str:
    """ "Over 99 % sure." """
    return format.sentence(f"{format.sureness(frac)} sure")


def flags(rows: Sequence[FlagView], none: str = "No flag stands.") -> str:
    """Flags, each with its evidence and what to do first."""
    return joined(_flag(row) for row in rows) if rows else none


def _flag(row: FlagView) -> str:
    mark = _MARK.get(row.level, "!")
    when = sentences.flag_life(row)
    lines = [
        wrapped(
            f"{format.capital(row.level)}: {format.capital(row.title.rstrip('.'))} ({when}).",
            f"{mark} ",
            row.level,
        )
    ]
    for name, text in (
        ("Found", row.evidence),
        (sentences.flag_now(row), row.now),
        ("Likely", row.cause),
        ("First", row.first_action),
        ("Caution", row.caution),
    ):
        if text:
            lines.append(wrapped(format.sentence(text), f"  {name}: "))
    return "\n".join(lines)
