"""A trip on paper: one HTML file that needs nothing else, or a PDF; readable in black and white.

Times are UTC, so that two papers of one trip read alike wherever they were made.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape

from analyzer.answers.hull import Hindcast
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import (
    FlagView,
    Plot,
    ReviewAnswer,
    SagAccount,
)
from analyzer.faces import format, sentences
from analyzer.faces.charts import hindcast_svg
from analyzer.faces.charts.svg import Line, chart
from analyzer.faces.charts.track_svg import track
from logger.units import KN, KWH, NMI

CAUTION = (
    "Figures are estimates and no promise. They replace no fuse, no battery protection, no maker's "
    "limit, no local rule and no qualified electrician. Keep a reserve, a sail ready and an anchor "
    "clear to let go."
)
STYLE = (
    "body{font:14px/1.45 sans-serif;color:#000;background:#fff;max-width:46rem;margin:1rem auto;"
    "padding:0 1rem}table{border-collapse:collapse;width:100%;margin:.4rem 0 .6rem}"
    "td,th{border-bottom:1px solid #999;padding:.15rem .5rem;text-align:left;vertical-align:top}"
    "td+td,th+th{white-space:nowrap;text-align:right}svg{max-width:100%;height:auto}"
    "h2{margin:1.2rem 0 .3rem}p{margin:.3rem 0}"
    "@media print{section,svg,table{break-inside:avoid}h2{break-after:avoid}}"
)
LEAST_SPAN_K = 20.0  # of a temperature chart's axis, assumed
VOLTS = {  # the account's terms -> what they are
    "charge used": "charge already used",
    "resistance": "the cells' resistance",
    "polarisation": "the cells' slow polarisation under load",
    "cold": "the cold",
    "cables and contactor": "cables and contactor",
    "unexplained": "not explained",
}
Rows = tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Part:
    """One part of the paper, in the order it is read: heading, pictures, rows, lines.

    The first row names the columns.
    """

    heading: str
    pictures: tuple[str, ...] = ()
    rows: Rows = ()
    lines: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        """Whether there is nothing under the heading."""
        return not (self.pictures or self.rows or self.lines)


@dataclass(frozen=True)
class Report:
    """What is on the paper, before it is HTML or PDF."""

    title: str
    lines: tuple[str, ...]
    parts: tuple[Part, ...]


def channels(plotted: Sequence[str]) -> tuple[str, ...]:
    """What of a log's channels the report draws."""
    wanted = {"speed_ground_mps", "pack_voltage_v", "controller_voltage_v", "pack_current_a",
              "latitude_deg", "longitude_deg", *_WARM}  # fmt: skip
    return tuple(n for n in plotted if n in wanted or _is_probe(n))


_WARM = ("pack_temp_c", "motor_temp_c", "controller_temp_c", "ambient_temp_c")


def _is_probe(name: str) -> bool:
    return name.startswith("probe_") and name.endswith("_temp_c")


def report(boat: str, review: ReviewAnswer, plot: Plot, past: Hindcast | None = None) -> Report:
    """Puts a trip's answers on paper.

    Args:
        past: What the range answer was through the trip; None: not worked out.
    """
    parts = (
        *_flags(review.flags),
        Part("Where the boat went", (_map(review, plot),), _legs(review)),
        Part("Through the trip", _charts(plot)),
        _hindcast(past),
        Part("Where the energy went", rows=_ledger(review), lines=_ledger_lines(review)),
        _volts(review.sag),
        Part("Besides", lines=(*review.remarks, CAUTION)),
    )
    kept = [Part(p.heading, tuple(x for x in p.pictures if x), p.rows, p.lines) for p in parts]
    return Report(
        f"{boat}: trip {review.trip.number}",
        tuple(_summary(review)),
        tuple(p for p in kept if not p.empty),
    )


def _summary(review: ReviewAnswer) -> Iterator[str]:
    trip = review.trip
    began_s, ended_s = trip.start_utc_s, trip.end_utc_s
    far = "" if trip.distance_m is None else f", {format.miles(trip.distance_m)} over the ground"
    lasted = format.duration(ended_s - began_s)
    when = f"{format.day(began_s, UTC)} to {format.until(began_s, ended_s, UTC)}"
    yield f"{when} {format.zone_name(began_s, UTC)}: {lasted}{far}."
    took = trip.motoring_wh_per_m
    which = "" if took is None else f", which took {format.consumption(took)}"
    yield f"Under motor {format.duration(trip.under_motor_s)}{which}."
    if trip.energy_out_wh is None or trip.energy_in_wh is None:
        yield f"The energy {sentences.energy_unknown(trip) or 'was not measured'}."
    else:
        yield (
            f"Energy out of the pack {trip.energy_out_wh / KWH:.2f} kWh, into it "
            f"{trip.energy_in_wh / KWH:.2f} kWh."
        )
    if missing := sentences.not_counted(trip):
        yield format.sentence(missing)
    if trip.charge_start.mid is not None and trip.charge_end.mid is not None:
        start, left = format.percent(trip.charge_start.mid), format.percent(trip.charge_end.mid)
        yield f"Charge {start} at the start, {left} at the end ({format.band(trip.charge_end)})."


def _time(utc_s: float) -> datetime:
    return datetime.fromtimestamp(utc_s, UTC)


def _flags(flags: Sequence[FlagView]) -> tuple[Part, ...]:
    """One part for each flag; a caution that holds for several is said with the first."""
    if not flags:
        return (Part("Flags", lines=("Nothing was flagged on this trip.",)),)
    parts, said = [], set[str]()
    for flag in flags:
        lines = [format.sentence(flag.evidence)]
        told = (
            (sentences.flag_now(flag), flag.now),
            ("Most likely", flag.cause),
            ("First", flag.first_action),
            ("Caution", flag.caution),
        )
        lines += [f"{name}: {text}" for name, text in told if text and text not in said]
        said.add(flag.caution)
        heading = f"{format.capital(flag.level)}, {_time(flag.raised_utc_s):%H:%M}: {flag.title}"
        parts.append(Part(heading, lines=tuple(lines)))
    return tuple(parts)


def _map(review: ReviewAnswer, plot: Plot) -> str:
    legs = [(g.start_utc_s, g.end_utc_s) for g in review.trip.legs if g.kind == "motoring"]
    on = [any(a <= t <= b for a, b in legs) for t in plot.t_utc_s]
    nothing: list[float | None] = [None] * len(plot.t_utc_s)
    latitude = plot.series.get("latitude_deg", nothing)
    longitude = plot.series.get("longitude_deg", nothing)
    return track(latitude, longitude, plot.t_utc_s, on)


def _legs(review: ReviewAnswer) -> Rows:
    rows = [("Leg (map: motor on solid, else dashed)", "From", "Lasted", "Distance", "Mean speed",
             "Energy used")]  # fmt: skip
    for leg in review.trip.legs:
        far = "" if leg.distance_m is None else f"{leg.distance_m / NMI:.2f} nmi"
        fast = "" if leg.mean_speed_mps is None else f"{leg.mean_speed_mps / KN:.1f} kn"
        lasted = format.duration(leg.end_utc_s - leg.start_utc_s)
        rows.append((leg.doing, f"{_time(leg.start_utc_s):%H:%M}", lasted, far, fast,
                     "" if leg.energy_wh is None else f"{leg.energy_wh:.0f} Wh"))  # fmt: skip
    return tuple(rows)


def _charts(plot: Plot) -> tuple[str, ...]:
    got, times = plot.series, plot.t_utc_s

    def scaled(name: str, factor: float) -> list[float | None]:
        return [None if v is None else v * factor for v in got[name]]

    found = []
    if "speed_ground_mps" in got:
        line = Line("over ground", scaled("speed_ground_mps", 1 / KN))
        found.append(chart("Speed over ground, kn", times, [line], 2.0))
    if "pack_current_a" in got:
        line = Line("pack", got["pack_current_a"])
        found.append(chart("Current out of the pack, A (below zero: into it)", times, [line], 5.0))
    volts = [Line(text, got[n]) for n, text in (("pack_voltage_v", "at the pack"),
             ("controller_voltage_v", "at the controller")) if n in got]  # fmt: skip
    found.append(chart("Voltage, V", times, volts, 1.0))
    warm = [Line(_name(n), got[n]) for n in _WARM[:3] if n in got]
    found.append(chart("Temperature of the drive and the pack, °C", times, warm, LEAST_SPAN_K))
    hot = [Line(_name(n), v) for n, v in got.items() if _is_probe(n)]
    air = [Line("the air there", got["ambient_temp_c"])] if "ambient_temp_c" in got else []
    for k in range(0, len(hot), 4):
        lines = [*hot[k : k + 4], *air]
        found.append(chart("Temperature of cables and lugs, °C", times, lines, LEAST_SPAN_K))
    return tuple(svg for svg in found if svg)


def _name(channel: str) -> str:
    return channel.removeprefix("probe_").removesuffix("_temp_c").replace("_", " ")


def _hindcast(past: Hindcast | None) -> Part:
    heading = "How far, as it was answered under way"
    if past is None or not past.rows:
        return Part(heading)
    lines = (format.sentence(past.score.sentence),)
    return Part(heading, hindcast_svg.charts(past.rows), lines=lines)


def _ledger(review: ReviewAnswer) -> Rows:
    rows = [("", "Wh", "8 in 10 between")]
    rows += [(format.capital(r.text), *_figures(r.energy, 0)) for r in review.ledger]
    return tuple(rows) if len(rows) > 1 else ()


def _ledger_lines(review: ReviewAnswer) -> tuple[str, ...]:
    if not review.ledger:
        return ()
    lines = [f"{format.capital(r.text)}: {r.energy.reason}." for r in review.ledger
             if r.energy.reason]  # fmt: skip
    return (
        "Out of the pack counts up, into it below zero. All rows down to what is not accounted for "
        "add up to what the pack gave; what is not accounted for should have zero in its range.",
        *lines,
    )


def _volts(accounts: Sequence[SagAccount]) -> Part:
    heading = "Where the volts went"
    if not accounts:
        return Part(heading)
    terms = {VOLTS.get(t.text, t.text): t.text for a in accounts for t in a.terms}
    order = sorted(terms, key=lambda text: text == VOLTS["unexplained"])
    head = [f"{_short(a.text)}, {_time(a.utc_s):%H:%M}, {a.current_a:.0f} A" for a in accounts]
    rows = [("Volts below rest", *head)]
    for text in order:
        cells = []
        for account in accounts:
            found = [t.volts for t in account.terms if t.text == terms[text]]
            mid, span = _figures(found[0], 2) if found else ("", "")
            cells.append(f"{mid} ({span})" if mid else span)
        rows.append((format.capital(text), *cells))
    rows.append(("Together", *[f"{a.rest_v - a.loaded_v:.2f}" for a in accounts]))
    lines = tuple(f"{format.capital(a.text)}. {a.sentence}" for a in accounts)
    return Part(heading, rows=tuple(rows), lines=lines)


def _short(text: str) -> str:
    return {"the lowest voltage of the trip": "Lowest"}.get(text, format.capital(
        text.removeprefix("the ").removesuffix("'s mean")))  # fmt: skip


def _figures(value: Estimate, decimals: int) -> tuple[str, str]:
    if value.mid is None:
        return "", value.reason
    span = ""
    if value.low is not None and value.high is not None:
        span = f"{value.low:.{decimals}f} to {value.high:.{decimals}f}"
    return f"{value.mid:.{decimals}f}", span


def html(paper: Report) -> str:
    """One file that needs nothing else."""
    body = [f"<h1>{escape(paper.title)}</h1>", *_paragraphs(paper.lines)]
    for part in paper.parts:
        body.append(f"<section><h2>{escape(part.heading)}</h2>")
        body += part.pictures
        body.append(_html_rows(part.rows))
        body += [*_paragraphs(part.lines), "</section>"]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width">'
        f"<title>{escape(paper.title)}</title><style>{STYLE}</style></head>"
        f"<body>{''.join(body)}</body></html>"
    )


def _paragraphs(lines: Sequence[str]) -> list[str]:
    return [f"<p>{escape(line)}</p>" for line in lines]


def _html_rows(rows: Rows) -> str:
    if not rows:
        return ""
    head, *rest = rows
    top = "".join(f"<th>{escape(c)}</th>" for c in head)
    body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>" for row in rest)
    return f"<table><tr>{top}</tr>{body}</table>"
