"""A trip's linked charts, drawn by bokeh; its scripts come with the installed package."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt
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
from bokeh.models.annotations import Span
from bokeh.plotting import figure

from analyzer.results import Plot
from logger.units import KN, KW

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """One line of a chart."""

    channel: str
    text: str
    divisor: float = 1.0


@dataclass(frozen=True)
class Chart:
    """One chart: what its scale says, and its lines."""

    text: str
    lines: tuple[Line, ...]


CHARTS = (
    Chart(
        "speed, kn",
        (
            Line("speed_water_mps", "through water", KN),
            Line("speed_ground_mps", "over ground", KN),
        ),
    ),
    Chart("power from the pack, kW", (Line("power_w", "power", KW),)),
    Chart(
        "voltage, V",
        (
            Line("pack_voltage_v", "at the pack"),
            Line("controller_voltage_v", "at the controller"),
        ),
    ),
)


@dataclass(frozen=True)
class Look:
    """Colours of a chart; the lines differ in lightness and dash too, not in hue alone."""

    paper: str
    ink: str
    faint: str
    lines: tuple[str, ...]


LOOKS = {
    "day": Look("#ffffff", "#0b1f3a", "#c3ccd8", ("#0b4f8a", "#c25e00", "#6a3d9a", "#00796b")),
    "contrast": Look("#ffffff", "#000000", "#777777", ("#000000", "#0033cc", "#a30000", "#5a005a")),
    "night": Look("#000000", "#d93a1f", "#4a1209", ("#e5431f", "#8f2a16", "#b8361b", "#6e2011")),
}
DASHES = ("solid", "dashed", "dotted", "dashdot")


def trip_item(plot: Plot, look: str) -> Any:
    """The trip's charts as the JSON that `Bokeh.embed.embed_item` takes.

    Args:
        plot: Thinned channels on one clock.
        look: A key of `LOOKS`; anything else is "day".
    """
    colours = LOOKS.get(look, LOOKS["day"])
    data, have = _columns(plot)
    source = ColumnDataSource(data=dict(data))
    start_ms, end_ms = _ends(data["t_ms"])
    times = Range1d(start=start_ms, end=end_ms)
    across = Span(dimension="height", line_color=colours.ink, line_dash="dotted")
    charts = [chart for chart in CHARTS if any(line.channel in have for line in chart.lines)]
    figures = [
        _figure(
            chart, source, have, times, across, colours, chart is charts[0], chart is charts[-1]
        )
        for chart in charts
    ]
    return json_item(column(*figures, sizing_mode="stretch_width"))


def _columns(plot: Plot) -> tuple[dict[str, Floats], set[str]]:
    data = {name: _array(values) for name, values in plot.series.items()}
    if "pack_voltage_v" in data and "pack_current_a" in data:
        data["power_w"] = data["pack_voltage_v"] * data["pack_current_a"]
    have = {name for name, values in data.items() if np.isfinite(values).any()}
    columns = {
        line.channel: data[line.channel] / line.divisor
        for chart in CHARTS
        for line in chart.lines
        if line.channel in have
    }
    columns["t_ms"] = (_array(plot.t_utc_s) + _zone_offset_s(plot.t_utc_s)) * 1e3
    return columns, have


def _array(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _zone_offset_s(t_utc_s: Sequence[float]) -> float:
    """The board's time zone at the start, so that charts and page show the same clock."""
    if not t_utc_s:
        return 0.0
    offset = datetime.fromtimestamp(t_utc_s[0], UTC).astimezone().utcoffset()
    return offset.total_seconds() if offset else 0.0


def _ends(t_ms: Floats) -> tuple[float, float]:
    return (float(t_ms[0]), float(t_ms[-1])) if len(t_ms) > 1 else (0.0, 1.0)


def _figure(
    chart: Chart,
    source: ColumnDataSource,
    have: set[str],
    times: Range1d,
    across: Span,
    look: Look,
    first: bool,
    last: bool,
) -> Any:
    plot = figure(
        height=230 if first or last else 200,
        x_axis_type="datetime",
        x_range=times,
        sizing_mode="stretch_width",
        tools=[],
        toolbar_location="above" if first else None,
        title=chart.text,
        output_backend="canvas",
    )
    _tools(plot, across)
    tips: list[tuple[str, str]] = []
    renderers: list[Any] = []
    lines = [line for line in chart.lines if line.channel in have]
    for k, line in enumerate(lines):
        label: dict[str, Any] = {"legend_label": line.text} if len(lines) > 1 else {}
        drawn = plot.line(
            "t_ms",
            line.channel,
            source=source,
            line_width=2,
            line_color=look.lines[k],
            line_dash=DASHES[k],
            **label,
        )
        tips.append((line.text, f"@{line.channel}{{0.00}}"))
        renderers.append(drawn)
    plot.add_tools(
        HoverTool(
            tooltips=[("at", "@t_ms{%H:%M:%S}"), *tips],
            formatters={"@t_ms": "datetime"},
            mode="vline",
            renderers=renderers[:1],
        )
    )
    _dress(plot, look, several=len(lines) > 1, last=last)
    return plot


def _tools(plot: Any, across: Span) -> None:
    pan = PanTool(dimensions="width")
    wheel = WheelZoomTool(dimensions="width")
    plot.add_tools(
        pan,
        wheel,
        ZoomInTool(dimensions="width"),
        ZoomOutTool(dimensions="width"),
        ResetTool(),
        CrosshairTool(overlay=across),
    )
    plot.toolbar.logo = None
    plot.toolbar.active_drag = pan


def _dress(plot: Any, look: Look, several: bool, last: bool) -> None:
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
    plot.xaxis.visible = last
    if several:
        plot.legend.location = "bottom_left"
        plot.legend.orientation = "horizontal"
        plot.legend.label_text_color = look.ink
        plot.legend.label_text_font_size = "13px"
        plot.legend.background_fill_color = look.paper
        plot.legend.background_fill_alpha = 0.85
        plot.legend.border_line_color = None
        plot.legend.click_policy = "mute"
