"""A trip's linked charts, drawn by bokeh; its scripts come with the installed package."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import (
    ColumnDataSource,
    CrosshairTool,
    DatetimeTickFormatter,
    HoverTool,
    Range1d,
)
from bokeh.models.annotations import BoxAnnotation, Label, Span
from bokeh.plotting import figure

from analyzer.estimation.results import FlagView, Plot
from analyzer.faces import units
from analyzer.faces.charts import columns
from analyzer.faces.charts.columns import Chart, Points
from logger.units import NMI, UNDATED_S


@dataclass(frozen=True)
class Look:
    """Colours of a chart; lines differ in dash too, not in hue alone."""

    paper: str
    ink: str
    faint: str
    fan: str
    flag: str
    lines: tuple[str, ...]
    layers: tuple[str, ...]  # of a stack, so that neighbours differ in lightness


# Seven layers of a stack: neighbours differ in lightness, and no two of a look are alike.
_LAYERS = ("#ffe27a", "#f2b134", "#cfe3f5", "#8fb8de", "#e7e7ec", "#b49bd6", "#ffc9bd")
_GREYS = ("#ffffff", "#bdbdbd", "#e6e6e6", "#9c9c9c", "#d2d2d2", "#8a8a8a", "#f2f2f2")
_DARK = ("#2a0a04", "#6b1a0d", "#1c0602", "#82200f", "#3a0e06", "#9a2612", "#110302")
_DAY = ("#0b4f8a", "#c25e00", "#6a3d9a", "#00796b", "#8a6d00", "#44546b", "#a8123a", "#2f7d1f")
_NIGHT = ("#e54422", "#a8331c", "#c73c20", "#82260f", "#e54422", "#a8331c", "#c73c20", "#82260f")
LOOKS = {
    "day": Look("#ffffff", "#0b1f3a", "#c3ccd8", "#ffd21f", "#a8123a", _DAY, _LAYERS),
    "contrast": Look(
        "#ffffff",
        "#000000",
        "#777777",
        "#bbbbbb",
        "#000000",
        ("#000000", "#0033cc", "#a30000", "#5a005a", "#004d40", "#444444", "#7a3d00", "#00279c"),
        _GREYS,
    ),
    "night": Look("#000000", "#e54422", "#4a1209", "#5e170c", "#e54422", _NIGHT, _DARK),
}
# One for each line of a chart, for eyes that tell its colour from no other.
DASHES = ("solid", "dashed", "dashdot", "dotdash", "18 4", "4 4", "12 3 3 3 3 3", "3 8")
# A pattern for each layer, for eyes that tell its colour from no other.
HATCHES = (
    None,
    "right_diagonal_line",
    "dot",
    "cross",
    "horizontal_line",
    "left_diagonal_line",
    "vertical_line",
)
# The axis tells times and dates as the pages do: 14:05, 3 Jun 2024.
CLOCK: dict[str, Any] = {
    **dict.fromkeys(("hours", "hourmin", "minutes"), "%H:%M"),
    **dict.fromkeys(("minsec", "seconds"), "%H:%M:%S"),
}
DATES: dict[str, Any] = {"days": "%-d %b", "months": "%b %Y", "years": "%Y"}
BELOW: dict[str, Any] = dict.fromkeys(CLOCK, "%-d %b %Y") | {
    "days": "%Y",
    "months": "",
    "years": "",
}
FLAG_FOOT_PX = 5  # height of the bar for as long as a flag stood; assumed


@dataclass(frozen=True)
class Frame:
    """What the charts of a group share: one clock, one data source, one look."""

    source: ColumnDataSource
    times: Range1d
    ends_ms: tuple[float, float]
    across: Span
    look: Look


def group(
    charts: Sequence[Chart],
    plot: Plot,
    flags: Sequence[FlagView],
    look: str,
    ends_utc_s: tuple[float, float] | None = None,
    dated: bool = True,
) -> Any:
    """Charts over one clock as the JSON that `Bokeh.embed.embed_item` takes; None where there are
    none. The page keeps the times of several groups together by the range named "times", and
    brings finer data into the source named "columns" when it is zoomed.

    Args:
        plot: Thinned channels on one clock.
        flags: Drawn from raised to cleared.
        look: A key of `LOOKS`; anything else is "day".
        ends_utc_s: How far it may be panned; None: as far as the plot goes.
        dated: Whether the axis shows the date too; else the time alone.
    """
    if not charts:
        return None
    frame = _frame(plot, charts, LOOKS.get(look, LOOKS["day"]), ends_utc_s)
    figures = [
        _over_time(chart, frame, chart is charts[0], chart is charts[-1]) for chart in charts
    ]
    for drawn in figures:
        _draw_flags(drawn, flags, frame, plot, named=drawn is figures[0])
    dated = dated and bool(plot.t_utc_s) and plot.t_utc_s[0] >= UNDATED_S
    below = DatetimeTickFormatter(**BELOW) if dated else None
    days = DATES if dated else dict.fromkeys(DATES, "%H:%M")
    figures[-1].xaxis.formatter = DatetimeTickFormatter(
        **CLOCK, **days, context=below, context_which="start"
    )
    return json_item(column(*figures, sizing_mode="stretch_width"))


def _frame(
    plot: Plot, shown: Sequence[Chart], look: Look, ends_utc_s: tuple[float, float] | None
) -> Frame:
    t_ms = columns.times_ms(plot)
    shown_ms = (float(t_ms[0]), float(t_ms[-1])) if len(t_ms) > 1 else (0.0, 1.0)
    bounds = shown_ms
    if ends_utc_s:
        shift_s = columns.zone_offset_s(plot.t_utc_s)
        bounds = ((ends_utc_s[0] + shift_s) * 1e3, (ends_utc_s[1] + shift_s) * 1e3)
    return Frame(
        ColumnDataSource(data={"t_ms": t_ms, **columns.columns(shown)}, name="columns"),
        Range1d(
            start=shown_ms[0], end=shown_ms[1], bounds=bounds, min_interval=30_000.0, name="times"
        ),
        shown_ms,
        Span(dimension="height", line_color=look.ink, line_dash="dotted"),
        look,
    )


def _over_time(chart: Chart, frame: Frame, first: bool, last: bool) -> Any:
    options: dict[str, Any] = {
        "height": 300 if len(chart.layers) > 1 else 230 if first or last else 200,
        "x_axis_type": "datetime",
        "x_range": frame.times,
        "sizing_mode": "stretch_width",
        "tools": [],
        "toolbar_location": None,  # the page has buttons of its own
        "title": chart.text,
        "output_backend": "canvas",
        "min_border_left": 52,
    }
    plot = figure(**options)
    plot.add_tools(CrosshairTool(overlay=frame.across))
    _layers(plot, chart, frame)
    _lines(plot, chart, frame)
    _dress(plot, frame.look)
    plot.xaxis.visible = last
    if plot.legend:
        _legend(plot, frame.look)
    return plot


def _layers(plot: Any, chart: Chart, frame: Frame) -> None:
    fills = frame.look.layers if len(chart.layers) > 1 else (frame.look.fan,)
    for k, layer in enumerate(chart.layers):
        plot.varea(
            "t_ms",
            layer.lower,
            layer.upper,
            source=frame.source,
            fill_color=fills[k % len(fills)],
            hatch_pattern=HATCHES[k % len(HATCHES)] if len(chart.layers) > 1 else None,
            hatch_color=frame.look.ink,
            hatch_alpha=0.35,
            hatch_scale=9,
            legend_label=layer.text,
        )


def _lines(plot: Any, chart: Chart, frame: Frame) -> None:
    drawn: list[Any] = []
    measured = 0
    several = len(chart.lines) > 1 or chart.layers
    for line in chart.lines:
        k = max(measured - 1, 0) if line.predicted else measured
        measured += not line.predicted
        label: dict[str, Any] = {"legend_label": line.text} if several and line.text else {}
        drawn.append(
            plot.line(
                "t_ms",
                line.column,
                source=frame.source,
                line_width=1.5 if line.predicted else 2,
                line_color=frame.look.lines[k % len(frame.look.lines)],
                line_dash="dotted" if line.predicted else DASHES[k % len(DASHES)],
                **label,
            )
        )
    tips = [(line.text, f"@{line.column}{{0.00}}") for line in chart.lines if line.text]
    if not drawn:
        return
    plot.add_tools(
        HoverTool(
            tooltips=[("at", "@t_ms{%H:%M:%S}"), *tips],
            formatters={"@t_ms": "datetime"},
            mode="vline",
            renderers=drawn[:1],
        )
    )


def _draw_flags(
    drawn: Any, flags: Sequence[FlagView], frame: Frame, plot: Plot, named: bool
) -> None:
    shift_s = columns.zone_offset_s(plot.t_utc_s)
    for k, flag in enumerate(flags):
        left = (flag.raised_utc_s + shift_s) * 1e3
        cleared = flag.cleared_utc_s
        right: Any = frame.ends_ms[1] if cleared is None else (cleared + shift_s) * 1e3
        drawn.add_layout(
            Span(
                location=left,
                dimension="height",
                line_color=frame.look.flag,
                line_dash="dashed",
            )
        )
        drawn.add_layout(
            BoxAnnotation(
                left=left,
                right=right,
                bottom=0,
                top=FLAG_FOOT_PX,
                bottom_units="screen",
                top_units="screen",
                fill_color=frame.look.flag,
                fill_alpha=1.0,
                line_color=None,
                propagate_hover=True,
            )
        )
        if named:
            drawn.add_layout(_name(flag.subject, left, 7 + 17 * (k % 4), frame))


def _name(text: str, at_ms: float, up_px: int, frame: Frame) -> Label:
    """A flag's name beside its mark, on the side where there is room."""
    late = at_ms > 0.65 * frame.ends_ms[1] + 0.35 * frame.ends_ms[0]
    return Label(
        x=at_ms,
        y=up_px,
        y_units="screen",
        x_offset=-5 if late else 5,
        text_align="right" if late else "left",
        text=text,
        text_color=frame.look.flag,
        text_font_size="13px",
        text_font_style="bold",
    )


def track(way: Points, reach: tuple[Points, Points, Points] | None, look: str) -> Any:
    """The way gone, and how far the boat could still go from its end; as the JSON to embed.

    Args:
        reach: Lowest, middle and highest in every direction; None where it is not known.
    """
    colours = LOOKS.get(look, LOOKS["day"])
    options: dict[str, Any] = {
        "height": 460,
        "sizing_mode": "stretch_width",
        "match_aspect": True,
        "tools": [],
        "toolbar_location": None,
        "title": "north is up; from the start",
        "x_axis_label": f"east, {units.now().distance_long}",
        "y_axis_label": f"north, {units.now().distance_long}",
        "output_backend": "canvas",
        "name": "track",
    }
    plot = figure(**options)
    way = _scaled(way)
    if reach:
        low, mid, high = map(_scaled, reach)
        for ring, alpha in ((high, 0.28), (low, 0.5)):
            plot.patch(ring.east_nmi, ring.north_nmi, fill_color=colours.fan, fill_alpha=alpha,
                       line_color=colours.ink, line_width=1)  # fmt: skip
        around = [np.append(part, part[:1]) for part in (mid.east_nmi, mid.north_nmi)]
        plot.line(*around, line_color=colours.ink, line_width=2, line_dash="dashed",
                  legend_label="most likely reach")  # fmt: skip
    plot.line(way.east_nmi, way.north_nmi, line_width=3, line_color=colours.lines[0],
              legend_label="the way gone")  # fmt: skip
    plot.scatter([0.0], [0.0], size=12, marker="circle", fill_color=colours.paper, line_width=3,
                 line_color=colours.ink, legend_label="start")  # fmt: skip
    known = np.flatnonzero(np.isfinite(way.east_nmi) & np.isfinite(way.north_nmi))
    if len(known):
        end = known[-1]
        plot.scatter([way.east_nmi[end]], [way.north_nmi[end]], size=12, marker="square",
                     fill_color=colours.ink, line_color=colours.paper,
                     legend_label="end")  # fmt: skip
    _dress(plot, colours)
    _legend(plot, colours)
    return json_item(plot)


def _scaled(points: Points) -> Points:
    """Places in the unit that the reader has chosen."""
    by = NMI / units.now().distance_m
    return Points(points.east_nmi * by, points.north_nmi * by)


def _dress(plot: Any, look: Look) -> None:
    plot.background_fill_color = plot.border_fill_color = look.paper
    plot.outline_line_color = look.faint
    plot.grid.grid_line_color = look.faint
    plot.grid.grid_line_alpha = 0.6
    plot.title.text_color = look.ink
    plot.title.text_font_size = "15px"
    for axis in plot.axis:
        axis.major_label_text_color = axis.axis_label_text_color = look.ink
        axis.axis_label_text_font_style = "normal"
        axis.major_label_text_font_size = "14px"
        axis.axis_line_color = axis.major_tick_line_color = look.faint
        axis.minor_tick_line_color = None


def _legend(plot: Any, look: Look) -> None:
    legend = plot.legend[0]
    plot.add_layout(legend, "below")  # not over the lines
    # As many side by side as a phone's width takes: one line wherever the words are short.
    letters = sum(len(item.label.value) for item in legend.items)
    legend.ncols = min(len(legend.items), 3 if letters < 45 else 2)
    plot.height += 22 * -(-len(legend.items) // legend.ncols)
    legend.padding = legend.margin = 2
    legend.spacing = 10
    legend.location = "left"
    legend.label_text_color = look.ink
    legend.label_text_font_size = "13px"
    legend.background_fill_color = look.paper
    legend.border_line_color = None
    legend.click_policy = "mute"
