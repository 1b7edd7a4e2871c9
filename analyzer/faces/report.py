"""A trip on paper: one HTML file that needs nothing else, or a PDF; readable in black and white."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape

from analyzer.estimate import Estimate
from analyzer.faces.linechart import Line, chart, track
from analyzer.results import Plot, ReviewAnswer
from logger.units import KN, KWH, NMI

CAUTION = (
    "Figures are estimates and no promise. They replace no fuse, no battery protection, no maker's "
    "limit, no local rule and no qualified electrician."
)
STYLE = (
    "body{font:14px/1.45 sans-serif;color:#000;background:#fff;max-width:46rem;margin:1rem auto;"
    "padding:0 1rem}table{border-collapse:collapse;width:100%;margin:.4rem 0 1rem}"
    "td,th{border-bottom:1px solid #999;padding:.15rem .5rem;text-align:left;vertical-align:top}"
    "td.n{text-align:right;white-space:nowrap}svg{max-width:100%;height:auto}"
    "h2{margin:1.2rem 0 .3rem}@media print{section{break-inside:avoid}}"
)


@dataclass(frozen=True)
class Table:
    """Rows under a heading; the first row names the columns."""

    heading: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Report:
    """What is on the paper, before it is HTML or PDF."""

    title: str
    lines: tuple[str, ...]
    charts: tuple[str, ...]
    map: str
    tables: tuple[Table, ...]
    sentences: tuple[str, ...]


def channels(plotted: Sequence[str]) -> tuple[str, ...]:
    """What of a log's channels the report draws."""
    wanted = {"speed_ground_mps", "pack_voltage_v", "controller_voltage_v", "pack_current_a",
              "pack_soc_frac", "latitude_deg", "longitude_deg"}  # fmt: skip
    return tuple(n for n in plotted if n in wanted or n.endswith("_temp_c"))


def report(boat: str, review: ReviewAnswer, plot: Plot) -> Report:
    """Puts a trip's answers on paper."""
    trip = review.trip
    begin = datetime.fromtimestamp(trip.start_utc_s, UTC)
    hours = (trip.end_utc_s - trip.start_utc_s) / 3600
    far = "" if trip.distance_m is None else f", {trip.distance_m / NMI:.1f} nmi"
    lines = [f"{begin:%Y-%m-%d %H:%M} UTC, {hours:.1f} h{far}."]
    lines.append(
        f"Energy out of the pack {trip.energy_out_wh / KWH:.2f} kWh, into it "
        f"{trip.energy_in_wh / KWH:.2f} kWh."
    )
    tables = [_legs(review), _ledger(review), *_sags(review)]
    if review.flags:
        rows = [("Level", "Flag", "What was measured")]
        rows += [(f.level, f.title, f.evidence) for f in review.flags]
        tables.append(Table("Flags", tuple(rows)))
    return Report(
        f"{boat}: trip {trip.number}",
        tuple(lines),
        _charts(plot),
        track(plot.series.get("latitude_deg", []), plot.series.get("longitude_deg", [])),
        tuple(tables),
        (*[s.sentence for s in review.sag], *review.remarks, CAUTION),
    )


def html(paper: Report) -> str:
    """One file that needs nothing else."""
    parts = [f"<h1>{escape(paper.title)}</h1>"]
    parts += [f"<p>{escape(line)}</p>" for line in paper.lines]
    parts += [f"<section>{svg}</section>" for svg in paper.charts]
    if paper.map:
        parts.append(f"<section><h2>Track</h2>{paper.map}</section>")
    parts += [_html_table(table) for table in paper.tables]
    parts += [f"<p>{escape(line)}</p>" for line in paper.sentences]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(paper.title)}</title><style>{STYLE}</style></head>"
        f"<body>{''.join(parts)}</body></html>"
    )


def pdf(paper: Report) -> bytes:
    """The same on A4 pages."""
    from fpdf import FPDF

    page = FPDF(format="A4")
    page.set_auto_page_break(True, 15)
    page.add_page()
    page.set_font("helvetica", "B", 16)
    page.multi_cell(0, 9, _latin(paper.title), new_x="LMARGIN", new_y="NEXT")
    page.set_font("helvetica", size=10)
    for line in paper.lines:
        page.multi_cell(0, 5, _latin(line), new_x="LMARGIN", new_y="NEXT")
    for svg in (*paper.charts, paper.map):
        if svg:
            _drawn(page, svg, 180 if svg is not paper.map else 100)
    for table in paper.tables:
        page.set_font("helvetica", "B", 12)
        page.cell(0, 9, _latin(table.heading), new_x="LMARGIN", new_y="NEXT")
        page.set_font("helvetica", size=9)
        with page.table(line_height=5) as grid:
            for row in table.rows:
                grid.row([_latin(cell) for cell in row])
    page.set_font("helvetica", size=10)
    for line in paper.sentences:
        page.multi_cell(0, 5, _latin(line), new_x="LMARGIN", new_y="NEXT")
    return bytes(page.output())


def _drawn(page: "FPDF", svg: str, width_mm: float) -> None:  # type: ignore[name-defined]  # noqa: F821
    from io import BytesIO

    _, _, wide, tall = (float(v) for v in svg.split('viewBox="')[1].split('"')[0].split())
    height = width_mm * tall / wide
    if page.get_y() + height > page.h - 15:
        page.add_page()
    page.image(BytesIO(svg.encode()), w=width_mm, h=height)


def _latin(text: str) -> str:
    """Characters that the PDF's built-in fonts hold."""
    for old, new in (("Ω", "ohm"), ("–", "-"), ("−", "-"), ("’", "'"), ("“", '"'), ("”", '"')):
        text = text.replace(old, new)
    return text.encode("latin-1", "replace").decode("latin-1")


def _charts(plot: Plot) -> tuple[str, ...]:
    if not plot.t_utc_s:
        return ()
    minutes = [(t - plot.t_utc_s[0]) / 60 for t in plot.t_utc_s]
    got = plot.series

    def scaled(name: str, factor: float) -> list[float | None]:
        return [None if v is None else v * factor for v in got[name]]

    found = []
    if "speed_ground_mps" in got:
        line = Line("over ground", scaled("speed_ground_mps", 1 / KN))
        found.append(chart("Speed over ground, kn", minutes, [line]))
    volts = [Line(text, got[n]) for n, text in (("pack_voltage_v", "pack"),
             ("controller_voltage_v", "controller")) if n in got]  # fmt: skip
    found.append(chart("Voltage, V", minutes, volts))
    if "pack_current_a" in got:
        line = Line("pack", got["pack_current_a"])
        found.append(chart("Current out of the pack, A", minutes, [line]))
    hot = [Line(n.removeprefix("probe_").removesuffix("_temp_c").replace("_", " "), v)
           for n, v in got.items() if n.endswith("_temp_c")]  # fmt: skip
    found += [chart("Temperature, °C", minutes, hot[k : k + 4]) for k in range(0, len(hot), 4)]
    return tuple(svg for svg in found if svg)


def _legs(review: ReviewAnswer) -> Table:
    rows = [("Leg", "Minutes", "Distance", "Mean speed", "Energy")]
    for leg in review.trip.legs:
        far = "" if leg.distance_m is None else f"{leg.distance_m / NMI:.2f} nmi"
        fast = "" if leg.mean_speed_mps is None else f"{leg.mean_speed_mps / KN:.1f} kn"
        minutes = f"{(leg.end_utc_s - leg.start_utc_s) / 60:.0f}"
        rows.append((leg.kind, minutes, far, fast, f"{leg.energy_wh:.0f} Wh"))
    return Table("Legs", tuple(rows))


def _ledger(review: ReviewAnswer) -> Table:
    rows = [("Where the energy went", "Wh", "Range")]
    rows += [(r.text, *_figures(r.energy, 0)) for r in review.ledger]
    return Table("Ledger", tuple(rows))


def _sags(review: ReviewAnswer) -> list[Table]:
    out = []
    for account in review.sag:
        rows = [("Where the volts went", "V", "Range")]
        rows += [(t.text, *_figures(t.volts, 2)) for t in account.terms]
        out.append(Table(f"Voltage: {account.text}, {account.current_a:.0f} A", tuple(rows)))
    return out


def _figures(value: Estimate, decimals: int) -> tuple[str, str]:
    if value.mid is None:
        return "", value.reason
    span = ""
    if value.low is not None and value.high is not None:
        span = f"{value.low:.{decimals}f} to {value.high:.{decimals}f}"
    return f"{value.mid:.{decimals}f}", span


def _html_table(table: Table) -> str:
    head, *rows = table.rows
    top = "".join(f"<th>{escape(c)}</th>" for c in head)
    body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>" for row in rows)
    heading = escape(table.heading)
    return f"<section><h2>{heading}</h2><table><tr>{top}</tr>{body}</table></section>"
