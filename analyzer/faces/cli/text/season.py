"""A season as plain text: the finding first, the figures below."""

from typing import TYPE_CHECKING

from analyzer.faces import format, seasons
from analyzer.faces.cli.base import terminal
from analyzer.faces.cli.text.layout import joined, wrapped

if TYPE_CHECKING:
    from analyzer.answers.season.rows import DayRow, MonthRow, SeasonAnswer

TABLE = 78  # columns that the tables need, by definition
WIDE = 29  # of the energies' names and a column beside them, by definition


def season(answer: "SeasonAnswer") -> str:
    """All of it."""
    parts = [
        wrapped(format.sentence(seasons.headline(answer)), style="bold"),
        wrapped(
            f"{answer.boat}, {seasons.period(answer)}. {_sentence(seasons.energy_line(answer))}"
        ),
        _list(
            "Growth on the bottom",
            [answer.fouling.sentence, *seasons.fouling_lines(answer.fouling)],
        ),
        _energies(answer),
        _speeds(answer),
        _months(answer),
        _list("The pack", [*seasons.pack_lines(answer), *answer.pack.remarks]),
        _days("Least energy a mile", answer.best),
        _days("Most energy a mile", answer.worst),
        _list("Best and worst days", [answer.days_reason]) if answer.days_reason else "",
        _list("How well the range answers held", list(seasons.held_lines(answer.range_held))),
        _list("What was missing", answer.remarks) if answer.remarks else "",
        wrapped(format.sentence(seasons.RANGES)),
    ]
    return joined(parts)


def _sentence(text: str) -> str:
    return format.sentence(text) if text else ""


def _list(title: str, lines: "list[str] | tuple[str, ...]") -> str:
    return "\n".join([title, *(wrapped(format.sentence(line), "- ") for line in lines if line)])


def _energies(answer: "SeasonAnswer") -> str:
    lines = ["Energy by source and use"]
    table = terminal.width() >= TABLE
    if table:
        lines.append(f"  {'':<{WIDE}} {'on trips':<20} alongside, as recorded")
    for name, under_way, alongside in seasons.energies(answer.energy):
        if table and len(under_way) <= 20 and len(alongside) < TABLE - WIDE - 24:
            lines.append(f"  {name:<{WIDE}} {under_way:<20} {alongside}".rstrip())
        else:
            lines.append(wrapped(f"{name}: on trips {under_way}; alongside {alongside}", "  "))
    return "\n".join(lines)


def _speeds(answer: "SeasonAnswer") -> str:
    if not answer.speeds:
        return _list("Consumption by speed", [answer.usual_reason])
    bands = format.bands([row.consumption for row in answer.speeds])
    rows = [
        f"  {format.knots(row.speed_water_mps):<9}{band:<22}{row.minutes:.0f} min"
        for row, band in zip(answer.speeds, bands, strict=True)
    ]
    return "\n".join(["Consumption by speed", *rows, wrapped(format.sentence(seasons.SPEEDS))])


def _months(answer: "SeasonAnswer") -> str:
    table = terminal.width() >= TABLE
    head = f"  {'':<16}{'trips':>5}{'far':>10}{'motor':>8}{'sail':>8}  {'used':<12}to compare"
    rows = [head] if table else []
    rows += [_month(row, table) for row in answer.months]
    usual = "" if answer.usual_mps is None else f" ({format.knots(answer.usual_mps)})"
    note = format.sentence(f"{seasons.MONTHS}{usual}")
    return "\n".join(["Month by month", *rows, wrapped(note)])


def _month(row: "MonthRow", table: bool) -> str:
    used = format.consumption(row.consumption.mid) if row.consumption.known else "-"
    alike = format.band(row.at_usual) if row.at_usual.known else "-"
    far = "-" if row.distance_m is None else format.miles(row.distance_m)
    motor, sail = seasons.hours(row.motor_s), seasons.hours(row.sail_s)
    name = seasons.month_name(row)
    if table:
        return (
            f"  {name:<16}{row.trips:>5}{far:>10}{motor:>8}{sail:>8}  {used:<12}{alike}"
        ).rstrip()
    trips = format.count(row.trips, "trip")
    text = f"{name}: {trips}, {far}, motor {motor}, sail {sail}, used {used}, to compare {alike}"
    return wrapped(text, "  ")


def _days(title: str, rows: "tuple[DayRow, ...]") -> str:
    if not rows:
        return ""
    lines = [title]
    for row in rows:
        text = f"{format.date(row.start_utc_s)}: {seasons.day_line(row)}"
        lines.append(wrapped(format.sentence(text), "- "))
        lines += [wrapped(format.sentence(seasons.reason(one)), "    ") for one in row.reasons]
    return "\n".join(lines)
