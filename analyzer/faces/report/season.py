"""A season on paper, of the same parts as a trip's."""

from collections.abc import Iterable, Sequence

from analyzer.answers.health.trends import Past
from analyzer.answers.season.rows import DayRow, SeasonAnswer
from analyzer.estimation.estimate import Estimate
from analyzer.faces import format, seasons
from analyzer.faces.charts.svg import Marks, chart
from analyzer.faces.report.report import CAUTION, Part, Report, Rows
from logger.units import NMI

LEAST_DAYS_S = 7 * 86400.0  # a chart over less shows nothing; assumed


def report(answer: SeasonAnswer) -> Report:
    """Puts a season on paper."""
    fouling, held = answer.fouling, answer.range_held
    pack = [*seasons.pack_lines(answer), *answer.pack.remarks]
    parts = (
        Part(
            "Growth on the bottom",
            _course("Speed at the same power against the first trips, %", fouling.rows, 100.0),
            lines=_sentences([fouling.sentence, *seasons.fouling_lines(fouling)]),
        ),
        Part("Energy by source and use", rows=_energies(answer)),
        Part("Month by month", _months_chart(answer), _months(answer), _months_note(answer)),
        Part("Consumption by speed", rows=_speeds(answer), lines=_sentences([seasons.SPEEDS])),
        Part(
            "The pack at 25 °C",
            (
                *_course("Capacity, Ah", answer.pack.capacity, 1.0),
                *_course("Resistance over a new pack's, %", answer.pack.resistance, 100.0),
            ),
            lines=_sentences(pack),
        ),
        Part("Least energy a mile", lines=_days(answer.best, answer.days_reason)),
        Part("Most energy a mile", lines=_days(answer.worst, "")),
        Part("How well the range answers held", lines=_sentences(seasons.held_lines(held))),
        Part("Besides", lines=(*answer.remarks, format.sentence(seasons.RANGES), CAUTION)),
    )
    lines = [seasons.period(answer), seasons.headline(answer), seasons.energy_line(answer)]
    return Report(
        f"{answer.boat}: season",
        _sentences(lines),
        tuple(part for part in parts if not part.empty),
    )


def _sentences(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(format.sentence(line).replace("`", "") for line in lines if line)


def _course(title: str, rows: Sequence[Past], by: float) -> tuple[str, ...]:
    """A course with its ranges; nothing where there are too few days to draw."""
    known = [(row.t_utc_s, _three(row.value, by)) for row in rows if row.value.known]
    if len(known) < 2 or known[-1][0] - known[0][0] < LEAST_DAYS_S:
        return ()
    marks = Marks(
        "8 in 10 between",
        [three[0] for _, three in known],
        [three[2] for _, three in known],
        "middle",
        [three[1] for _, three in known],
    )
    return (chart(title, [t for t, _ in known], [], marks=marks),)


def _three(value: Estimate, by: float) -> tuple[float, float, float]:
    mid = value.mid or 0.0
    low = mid if value.low is None else value.low
    high = mid if value.high is None else value.high
    return low * by, mid * by, high * by


def _energies(answer: SeasonAnswer) -> Rows:
    head = ("", "On trips", "Alongside, as recorded")
    return (head, *seasons.energies(answer.energy))


def _speeds(answer: SeasonAnswer) -> Rows:
    if not answer.speeds:
        return ()
    bands = format.bands([row.consumption for row in answer.speeds])
    rows = [
        (format.knots(row.speed_water_mps), band, f"{row.minutes:.0f} min")
        for row, band in zip(answer.speeds, bands, strict=True)
    ]
    return (("Through the water", "8 in 10 between", "Steady motoring"), *rows)


def _months(answer: SeasonAnswer) -> Rows:
    head = ("", "Trips", "Far", "Motor", "Sail", "Used", "To compare")
    rows = [
        (
            seasons.month_name(row),
            str(row.trips),
            "" if row.distance_m is None else format.miles(row.distance_m),
            seasons.hours(row.motor_s),
            seasons.hours(row.sail_s),
            format.consumption(row.consumption.mid) if row.consumption.known else "",
            format.band(row.at_usual) if row.at_usual.known else "",
        )
        for row in answer.months
    ]
    return (head, *rows)


def _months_chart(answer: SeasonAnswer) -> tuple[str, ...]:
    rows = [Past(row.start_utc_s, row.at_usual) for row in answer.months]
    title = "A mile at the usual speed, month by month, Wh/nmi"
    return _course(title, rows, NMI)


def _months_note(answer: SeasonAnswer) -> tuple[str, ...]:
    usual = "" if answer.usual_mps is None else f" ({format.knots(answer.usual_mps)})"
    return (format.sentence(f"{seasons.MONTHS}{usual}"),)


def _days(rows: Sequence[DayRow], why: str) -> tuple[str, ...]:
    if not rows:
        return (format.sentence(why),) if why else ()
    return tuple(
        " ".join(
            [
                format.sentence(f"{format.date(row.start_utc_s)}: {seasons.day_line(row)}"),
                *(format.sentence(seasons.reason(one)) for one in row.reasons),
            ]
        )
        for row in rows
    )
