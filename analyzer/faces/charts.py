"""A trip's linked charts, drawn by bokeh; its scripts come with the installed package."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import (
    ColumnDataSource,
    CrosshairTool,
    HoverTool,
    PanTool,
    Range1d,
    ResetTool,
    WheelZoomTool,
    ZoomInTool,
    ZoomOutTool,
)
from bokeh.models.annotations import BoxAnnotation, Label, Span
from bokeh.plotting import figure

from analyzer.faces import chart_data
from analyzer.faces.chart_data import Chart, Track
from analyzer.results import FlagView, Plot


@dataclass(frozen=True)
class Look:
    """Colours of a chart; lines differ in dash too, not in hue alone."""

    paper: str
    ink: str
    faint: str
    fan: str
    flag: str
    lines: tuple[str, ...]


_DAY = ("#0b4f8a", "#c25e00", "#6a3d9a", "#00796b", "#8a6d00", "#44546b", "#a8123a", "#2f7d1f")
_NIGHT = ("#e54422", "#a8331c", "#c73c20", "#82260f", "#e54422", "#a8331c", "#c73c20", "#82260f")
LOOKS = {
    "day": Look("#ffffff", "#0b1f3a", "#c3ccd8", "#ffd21f", "#a8123a", _DAY),
    "contrast": Look(
        "#ffffff",
        "#000000",
        "#777777",
        "#bbbbbb",
        "#000000",
        ("#000000", "#0033cc", "#a30000", "#5a005a", "#004d40", "#444444", "#7a3d00", "#00279c"),
    ),
    "night": Look("#000000", "#e54422", "#4a1209", "#5e170c", "#e54422", _NIGHT),
}
DASHES = ("solid", "dashed", "dotted", "dashdot", "dotdash", "solid", "dashed", "dotted")


FIRST = 2  # charts drawn at once


@dataclass(frozen=True)
class Frame:
    """What the charts of a group share: one clock, one data source, one look."""

    source: ColumnDataSource
    times: Range1d
    across: Span
    look: Look


def trip_items(plot: Plot, flags: Sequence[FlagView], look: str) -> list[Any]:
    """The trip's charts as the JSONs that `Bokeh.embed.embed_item` takes.

    The first holds what is looked at first, so that a slow phone draws it at once; the page draws
    the others when they are reached, and keeps their times together by the range named "times".

    Args:
        plot: Thinned channels on one clock.
        flags: Raised on the trip; drawn from raised to cleared.
        look: A key of `LOOKS`; anything else is "day".
    """
    colours = LOOKS.get(look, LOOKS["day"])
    shown = chart_data.charts(plot)
    groups = [group for group in (shown[:FIRST], shown[FIRST:]) if group]
    items = [_group(group, plot, flags, colours) for group in groups]
    way = chart_data.track(plot)
    return [*items, json_item(_track(way, colours))] if way else items


def _group(charts: Sequence[Chart], plot: Plot, flags: Sequence[FlagView], look: Look) -> Any:
    frame = _frame(plot, charts, look)
    figures = [
        _over_time(chart, frame, chart is charts[0], chart is charts[-1]) for chart in charts
    ]
    for drawn in figures:
        _draw_flags(drawn, flags, frame, plot, named=drawn is figures[0])
    return json_item(column(*figures, sizing_mode="stretch_width"))


def _frame(plot: Plot, shown: Sequence[Chart], look: Look) -> Frame:
    t_ms = chart_data.times_ms(plot)
    data = {line.column: line.values for chart in shown for line in chart.lines}
    for chart in shown:
        if chart.fan:
            data["fan_low"], data["fan_high"] = chart.fan
    ends = (float(t_ms[0]), float(t_ms[-1])) if len(t_ms) > 1 else (0.0, 1.0)
    return Frame(
        ColumnDataSource(data={"t_ms": t_ms, **data}),
        Range1d(start=ends[0], end=ends[1], bounds=ends, name="times"),
        Span(dimension="height", line_color=look.ink, line_dash="dotted"),
        look,
    )


def _over_time(chart: Chart, frame: Frame, first: bool, last: bool) -> Any:
    plot = figure(
        height=230 if first or last else 200,
        x_axis_type="datetime",
        x_range=frame.times,
        sizing_mode="stretch_width",
        tools=[],
        toolbar_location="above" if first else None,
        title=chart.text,
        output_backend="canvas",
        min_border_left=52,
    )
    _tools(plot, frame.across)
    if chart.fan:
        plot.varea("t_ms", "fan_low", "fan_high", source=frame.source, fill_color=frame.look.fan)
    _lines(plot, chart, frame)
    _dress(plot, frame.look)
    plot.xaxis.visible = last
    if len(chart.lines) > 1 or chart.fan:
        _legend(plot, frame.look)
    return plot


def _lines(plot: Any, chart: Chart, frame: Frame) -> None:
    drawn: list[Any] = []
    for k, line in enumerate(chart.lines):
        several = len(chart.lines) > 1 or chart.fan
        label: dict[str, Any] = {"legend_label": line.text} if several else {}
        drawn.append(
            plot.line(
                "t_ms",
                line.column,
                source=frame.source,
                line_width=2,
                line_color=frame.look.lines[k % len(frame.look.lines)],
                line_dash=DASHES[k % len(DASHES)],
                **label,
            )
        )
    tips = [(line.text, f"@{line.column}{{0.00}}") for line in chart.lines]
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
    shift_s = chart_data.zone_offset_s(plot.t_utc_s)
    for k, flag in enumerate(flags):
        left = (flag.raised_utc_s + shift_s) * 1e3
        cleared = flag.cleared_utc_s
        right: Any = frame.times.end if cleared is None else (cleared + shift_s) * 1e3
        drawn.add_layout(
            BoxAnnotation(
                left=left,
                right=right,
                fill_color=frame.look.flag,
                fill_alpha=0.06,
                line_color=frame.look.flag,
                line_alpha=0.7,
                line_dash="dashed",
                propagate_hover=True,
            )
        )
        if named:
            drawn.add_layout(
                Label(
                    x=left,
                    y=4 + 17 * (k % 4),
                    y_units="screen",
                    x_offset=5,
                    text=flag.subject,
                    text_color=frame.look.flag,
                    text_font_size="13px",
                    text_font_style="bold",
                )
            )


def _track(way: Track, look: Look) -> Any:
    plot = figure(
        height=380,
        sizing_mode="stretch_width",
        match_aspect=True,
        tools="",
        toolbar_location=None,
        title="the way gone, nautical miles east and north of the start",
        output_backend="canvas",
    )
    plot.line(way.east_nmi, way.north_nmi, line_width=3, line_color=look.lines[0])
    plot.scatter([0.0], [0.0], size=12, marker="circle", fill_color=look.paper, line_width=3,
                 line_color=look.ink)  # fmt: skip
    _dress(plot, look)
    return plot


def _tools(plot: Any, across: Span) -> None:
    pan = PanTool(dimensions="width")
    plot.add_tools(
        pan,
        WheelZoomTool(dimensions="width"),
        ZoomInTool(dimensions="width"),
        ZoomOutTool(dimensions="width"),
        ResetTool(),
        CrosshairTool(overlay=across),
    )
    plot.toolbar.logo = None
    plot.toolbar.active_drag = pan


def _dress(plot: Any, look: Look) -> None:
    plot.background_fill_color = plot.border_fill_color = look.paper
    plot.outline_line_color = look.faint
    plot.grid.grid_line_color = look.faint
    plot.grid.grid_line_alpha = 0.6
    plot.title.text_color = look.ink
    plot.title.text_font_size = "15px"
    for axis in plot.axis:
        axis.major_label_text_color = look.ink
        axis.major_label_text_font_size = "14px"
        axis.axis_line_color = axis.major_tick_line_color = look.faint
        axis.minor_tick_line_color = None


def _legend(plot: Any, look: Look) -> None:
    legend = plot.legend[0]
    plot.add_layout(legend, "below")  # not over the lines
    plot.height += 26 * -(-len(legend.items) // 2)
    legend.ncols = 2
    legend.padding = legend.margin = 2
    legend.label_text_color = look.ink
    legend.label_text_font_size = "13px"
    legend.background_fill_color = look.paper
    legend.border_line_color = None
    legend.click_policy = "mute"
