"""Answers as plain text for the command line: the answer first, the reason under it."""

import textwrap
from collections.abc import Iterable, Sequence

from analyzer.estimation.detection import Detection
from analyzer.estimation.results import (
    CablesAnswer,
    CellsAnswer,
    ChannelRow,
    CheckAnswer,
    FlagView,
    HomeAnswer,
    QuestionRow,
    RangeAnswer,
    RangePoint,
    ReviewAnswer,
    SagAccount,
    SourceRow,
    TripRow,
)
from analyzer.faces import format, line_breaks, sentences
from analyzer.faces.cli.base import terminal
from logger.units import KN

CURVE_WIDTH = 62  # of the table of speeds with all its columns, by definition
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
    parts.append(_bullets([sentences.flag_over(row) for row in answer.flags_over]))
    parts += [_because(answer), _facts(answer)]
    if answer.curve:
        parts.append(_curve(answer))
    parts.append(_cautions(answer.cautions))
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
    lines = [_row(name, text) for name, text in rows]
    for text in answer.distance.missing:
        lines.append(_row("Would help", text))
    return "\n".join(lines)


def _curve(answer: RangeAnswer) -> str:
    narrow = terminal.width() < CURVE_WIDTH
    best = answer.best_speed_mps
    shown = _round_speeds(answer.curve)
    lasts = "" if narrow else f"{'Lasts':<25}"
    lines = [f"  {'Speed':<8}{'Goes':<19}{lasts}Draws"]
    lines += [_curve_row(point, narrow=narrow) for point in shown]
    if best:
        lines.append(f"  Goes furthest at {format.knots(best)}.")
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


def _curve_row(point: RangePoint, *, narrow: bool) -> str:
    """How long is left out where there is no room."""
    speed, goes = format.knots(point.speed_water_mps), format.band(point.distance)
    lasts = "" if narrow else f"{format.band(point.duration):<25}"
    return f"  {speed:<8}{goes:<19}{lasts}{sentences.draws(point.power)}".rstrip()


def home(answer: HomeAnswer) -> str:
    """Whether and when to turn, in one paragraph."""
    return wrapped(sentences.home(answer))


def trips(rows: Sequence[TripRow]) -> str:
    """The list of trips."""
    if not rows:
        return "No trip yet: a trip is at least five minutes moving."
    zone = format.zone_name(rows[-1].start_utc_s)
    lines = [f"Trip  Start ({zone})".ljust(27) + "Lasted      Distance  Used      Put back"]
    for row in rows:
        lasted = format.duration(row.end_utc_s - row.start_utc_s)
        lines.append(
            f"{row.number:>4}  {format.day(row.start_utc_s):<21}{lasted:<12}"
            f"{format.miles(row.distance_m):<10}{format.energy(row.energy_out_wh):<10}"
            f"{format.energy(row.energy_in_wh)}"
        )
        for said in filter(None, (sentences.energy_unknown(row), sentences.not_counted(row))):
            about = "The energy " if said.startswith("cannot") else ""
            lines.append(wrapped(format.sentence(about + said), lead="      "))
    return "\n".join(lines)


def review(answer: ReviewAnswer) -> str:
    """One trip, explained."""
    parts = [_trip_head(answer.trip), _legs(answer.trip), _ledger(answer)]
    parts += [sag(account) for account in answer.sag]
    if answer.flags:
        parts.append(flags(answer.flags))
    parts.append(_bullets(answer.remarks))
    return joined(parts)


def _trip_head(row: TripRow) -> str:
    start, end = format.day(row.start_utc_s), format.clock(row.end_utc_s)
    before, after = sentences.mid_band(row.charge_start), sentences.mid_band(row.charge_end)
    charge = f"Charge {before} at the start, {after} at the end."
    head = f"Trip {row.number}, {start} to {end} {format.zone_name(row.start_utc_s)}."
    return wrapped(f"{head} {sentences.trip(row)} {charge}")


def _legs(row: TripRow) -> str:
    lines = ["Legs"]
    for leg in row.legs:
        span = f"{format.clock(leg.start_utc_s)} to {format.clock(leg.end_utc_s)}"
        lines.append(
            f"  {span:<17}{leg.doing:<11}{format.miles(leg.distance_m):<12}"
            f"{format.knots(leg.mean_speed_mps):<11}{format.energy(leg.energy_wh)}"
        )
    return "\n".join(lines) if row.legs else ""


def _ledger(answer: ReviewAnswer) -> str:
    if not answer.ledger:
        return ""
    width = max(len(row.text) for row in answer.ledger) + 2
    lines = ["Where the watt-hours went (out of the pack is positive)"]
    for row in answer.ledger:
        lines.append(f"  {row.text:<{width}}{sentences.mid_band(row.energy)}")
    return "\n".join(lines)


def sag(account: SagAccount) -> str:
    """Where the volts went."""
    lost = account.rest_v - account.loaded_v
    lines = [
        f"Where the volts went: {account.text}, {format.clock(account.utc_s)}",
        f"  At {format.amperes(account.current_a)}: {account.rest_v:.2f} V at rest, "
        f"{account.loaded_v:.2f} V loaded, {lost:.2f} V lost",
    ]
    width = max((len(term.text) for term in account.terms), default=0) + 2
    lines += [f"    {term.text:<{width}}{sentences.mid_band(term.volts)}" for term in account.terms]
    lines.append(wrapped(format.sentence(account.sentence), "  "))
    return "\n".join(lines)


def cells(answer: CellsAnswer) -> str:
    """Health of the cells."""
    parts = [findings(answer.findings, answer.not_measured or sentences.CELLS_SOUND)]
    if answer.spread.mid is not None:
        parts.append(f"Highest less lowest under load: {sentences.mid_band(answer.spread)}.")
    if answer.rows:
        lines = ["  Cell          Off the others      Resistance           Seen"]
        offsets = format.bands([row.offset for row in answer.rows])
        resistances = format.bands([row.resistance for row in answer.rows])
        for row, off, resistance in zip(answer.rows, offsets, resistances, strict=True):
            seen = f"{row.lowest_v:.3f} to {row.highest_v:.3f} V"
            lines.append(f"  {row.name:<14}{off:<20}{resistance:<21}{seen}")
        parts.append("\n".join(lines))
    parts.append(_bullets(answer.remarks))
    return joined(parts)


def cables(answer: CablesAnswer) -> str:
    """Health of the cables."""
    parts = [findings(answer.findings, answer.not_measured or sentences.CABLES_SOUND)]
    for row in answer.rows:
        lines = [
            format.capital(row.name.replace("_", " ")),
            _row(
                "May carry", f"{format.band(row.ampacity)}; carried {_amps(row.highest_current_a)}"
            ),
            _row(
                "Rise", f"{format.band(row.found_rise)} found, {format.band(row.expected_rise)} due"
            ),
            _row("Joint", sentences.joint(row.excess_resistance)),
            _row(
                "Settles at", f"{format.band(row.settles_at)}; limit {format.celsius(row.limit_c)}"
            ),
        ]
        if row.crosses_limit_in.mid is not None:
            lines.append(_row("At limit in", format.band(row.crosses_limit_in)))
        parts.append("\n".join(lines))
    parts.append(_bullets(answer.remarks))
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


def check(answer: CheckAnswer) -> str:
    """What arrives, what is wrong, what can be answered."""
    parts = [f"{answer.boat}."]
    if answer.sources:
        lines = [wrapped(_source_words(row), f"  {_can(row)} ") for row in answer.sources]
        parts.append("\n".join(["Ways in", *lines]))
    bad = [row.name for row in answer.sources if row.ok is False]
    fine = "Nothing else is wrong." if bad else "Nothing is wrong with what arrives."
    parts.append(findings(answer.findings, fine))
    if answer.questions:
        lines = [
            wrapped(_answered(question), f"  {_yes(question.answerable)} ")
            for question in answer.questions
        ]
        parts.append("\n".join(["What can be answered", *lines]))
    if answer.channels:
        shown = [format.reading(row.value, row.unit) for row in answer.channels]
        wide = max(map(len, shown)) + 2
        lines = [
            wrapped(_channel_words(row), f"  {value:<{wide}}")
            for row, value in zip(answer.channels, shown, strict=True)
        ]
        parts.append("\n".join(["What arrives", *lines]))
    if answer.missing_channels:
        parts.append(wrapped(", ".join(answer.missing_channels), "Expected, not there: "))
    parts.append(_bullets(answer.devices, "Ports and buses found"))
    return joined(parts)


def _source_words(row: SourceRow) -> str:
    return f"{row.name}: {format.sentence(row.text)}"


def _can(row: SourceRow) -> str:
    """Whether a way in can be recorded, to stand in a column."""
    return "  ?" if row.ok is None else _yes(row.ok)


def _channel_words(row: ChannelRow) -> str:
    """What it is and how often it comes."""
    text = row.text or row.name
    often = format.rate(row.rate_hz, row.age_s)
    return f"{text}; {often}" if often else text


def _answered(question: QuestionRow) -> str:
    mark = "" if question.question.endswith("?") else ":"
    return f"{question.question}{mark} {format.sentence(question.why)}"


def _yes(answerable: bool) -> str:
    return "yes" if answerable else " no"


def _row(name: str, text: str) -> str:
    return wrapped(text, f"  {name:<12}")


def _bullets(lines: Sequence[str], head: str = "") -> str:
    if not lines:
        return ""
    rows = [wrapped(format.sentence(line), "- ") for line in lines]
    return "\n".join([head, *rows] if head else rows)


def _cautions(lines: Sequence[str]) -> str:
    return wrapped(" ".join(format.sentence(line) for line in lines), "Caution: ")


def wrapped(text: str, lead: str = "", style: str = "") -> str:
    """Text in lines of the terminal's width, under its lead; each line in that style."""
    if not text:
        return ""
    lines = textwrap.wrap(
        line_breaks.tied(text),
        terminal.width(),
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
    )
    shown = (line.replace(line_breaks.NO_BREAK, " ") for line in lines)
    return "\n".join(terminal.styled(line, style) for line in shown)


def joined(parts: Iterable[str], between: str = "\n\n") -> str:
    """Parts one after the other, without the empty ones."""
    return between.join(part for part in parts if part)
