"""What the charts show: columns on one clock, worked out from thinned channels."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analyzer.answers.trip_chart import SAG_TERMS
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import Plot
from analyzer.faces import format, units
from logger.units import KW, NMI

Floats = npt.NDArray[np.float64]

METRES_PER_DEGREE = 60 * NMI  # of latitude; a nautical mile is a minute of it, near enough to draw

_ALWAYS = (
    "speed_water_mps",
    "speed_ground_mps",
    "pack_voltage_v",
    "controller_voltage_v",
    "pack_current_a",
    "solar_power_w",
    "latitude_deg",
    "longitude_deg",
    "motor_temp_c",
    "controller_temp_c",
    "pack_temp_c",
    "ambient_temp_c",
)
_CELL = r"(cell|block)_(\d+)_voltage_v"
_FAMILIES = r"(cell_\d+_voltage_v|block_\d+_voltage_v|probe_[a-z0-9_]+_temp_c)"
_SPEEDS = {"speed_water_mps": "through water", "speed_ground_mps": "over ground"}
_VOLTS = {"pack_voltage_v": "pack", "controller_voltage_v": "controller"}


@dataclass(frozen=True)
class Line:
    """One line of a chart. predicted: what was thought to come, not what was measured."""

    column: str
    text: str
    values: Floats
    predicted: bool = False


@dataclass(frozen=True)
class Layer:
    """What lies between two columns of a chart: a part of a stack, or a fan."""

    text: str
    lower: str
    upper: str


@dataclass(frozen=True)
class Chart:
    """One chart over time.

    edges: the layers' columns by name.
    """

    text: str
    lines: tuple[Line, ...]
    layers: tuple[Layer, ...] = ()
    edges: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class Points:
    """Places in nautical miles east and north of the track's start, shape (n,)."""

    east_nmi: Floats
    north_nmi: Floats


def wanted(held: Iterable[str]) -> tuple[str, ...]:
    """The channels that the charts need, of those that the log holds."""
    return tuple(n for n in held if n in _ALWAYS or re.fullmatch(_FAMILIES, n))


def times_ms(plot: Plot) -> Floats:
    """Times as a chart's axis counts them: milliseconds, in the page's time zone."""
    return (_array(plot.t_utc_s) + zone_offset_s(plot.t_utc_s)) * 1e3


def zone_offset_s(t_utc_s: Sequence[float]) -> float:
    """The page's time zone at the start, so that charts and page show the same clock."""
    if not t_utc_s:
        return 0.0
    offset = format.local(t_utc_s[0]).utcoffset()
    return offset.total_seconds() if offset else 0.0


def columns(charts: Sequence[Chart]) -> dict[str, Floats]:
    """All columns of some charts, beside their times."""
    found = {line.column: line.values for chart in charts for line in chart.lines}
    for chart in charts:
        found |= unbridged(chart.edges)
    return found


def unbridged(edges: Mapping[str, Floats]) -> dict[str, Floats]:
    """Edges of areas that have no height where anything is not known: the drawing library joins
    what lies on either side of NaN, and would fill a gap that nobody measured.
    """
    if not edges:
        return {}
    names = list(edges)
    held = np.array([edges[name] for name in names])
    known = np.isfinite(held).all(axis=0)
    if not known.any():
        return dict(edges)
    rows = np.flatnonzero(known)
    every = np.arange(len(known))
    newest = np.searchsorted(rows, every, side="right") - 1
    before = rows[np.maximum(newest, 0)]
    held = np.where(known, held, held[0, before])
    return dict(zip(names, held, strict=True))


def way_charts(plot: Plot) -> list[Chart]:
    """Speed and power, as far as the channels allow them."""
    have = _have(plot)
    power = {"power_w": "from the pack", "solar_power_w": "from the sun"}
    return _some(_speeds(have), _chart("power, kW", have, power, KW))


def pack_charts(
    plot: Plot, lowest: str = "", probes: Mapping[str, str] | None = None
) -> list[Chart]:
    """Volts, cells and temperatures, as far as the channels allow them.

    Args:
        lowest: Channel of the cell that is lowest on the whole.
        probes: Channel of a probe -> column of where its place would settle.
    """
    have = _have(plot)
    return _some(_volts(have), _cells(have, lowest), _cables(have, probes or {}), _drive(have))


def log_charts(plot: Plot) -> list[Chart]:
    """Any stretch of the log: speed, current, volts, cells, temperatures."""
    have = _have(plot)
    return _some(
        _speeds(have),
        _chart("current, A", have, {"pack_current_a": "out of the pack"}),
        _chart("voltage, V", have, _VOLTS),
        _cell_band(have),
        _cables(have, {}),
        _drive(have),
    )


def together(plots: Sequence[Plot], points: int = 600) -> Plot:
    """Two or more trips over the time since each began, on one clock that begins at 0.

    Returns:
        The columns of the k-th plot have "_k" behind their names; means over equal steps.
    """
    longest = max((p.t_utc_s[-1] - p.t_utc_s[0] for p in plots if p.t_utc_s), default=0.0)
    edges = np.linspace(0.0, max(longest, 1.0), points + 1)
    series: dict[str, list[float | None]] = {}
    for k, plot in enumerate(plots):
        since = _array(plot.t_utc_s) - (plot.t_utc_s[0] if plot.t_utc_s else 0.0)
        for name, values in plot.series.items():
            column = _array(values)
            known = np.isfinite(column)
            count = np.histogram(since[known], edges)[0]
            total = np.histogram(since[known], edges, weights=column[known])[0]
            mean = np.divide(total, count, out=np.full(points, np.nan), where=count > 0)
            series[f"{name}_{k}"] = [None if v != v else float(v) for v in mean]
    zone_s = zone_offset_s([0.0])  # the axis adds it again
    return Plot((edges[:-1] - zone_s).tolist(), series)


def two_trips(plot: Plot, names: Sequence[str]) -> list[Chart]:
    """Speed and power of trips side by side, from `together`."""
    have = _have(plot)
    speed = units.now()
    wants = (
        (f"speed through water, {speed.speed}", "speed_water_mps", speed.speed_mps),
        (f"speed over ground, {speed.speed}", "speed_ground_mps", speed.speed_mps),
        ("power, kW", "power_w", KW),
    )
    charts = []
    for text, column, by in wants:
        own = {f"{column}_{k}": name for k, name in enumerate(names)}
        charts.append(_chart(text, have, own, by))
    return _some(*charts)


def track(plot: Plot) -> Points | None:
    """The way gone; None where no position was recorded."""
    latitude, longitude = _fixes(plot)
    start = _start(latitude, longitude)
    return _miles(latitude, longitude, start) if start else None


def rings(
    plot: Plot, place: tuple[float, float], rows: Sequence[tuple[float, Estimate]]
) -> tuple[Points, Points, Points] | None:
    """Lowest, middle and highest reach in every direction from a place.

    Args:
        plot: The track's, whose start is the middle of the picture.
        place: Latitude and longitude. [deg]
        rows: Course over ground [deg] and distance [m].
    """
    start = _start(*_fixes(plot))
    if start is None or len(rows) < 3:
        return None
    around = _miles(np.array(place[:1]), np.array(place[1:]), start)
    angle = np.radians([course for course, _ in rows])
    far = np.array([(d.low, d.mid, d.high) for _, d in rows], dtype=np.float64) / NMI
    low, mid, high = (
        Points(around.east_nmi + r * np.sin(angle), around.north_nmi + r * np.cos(angle))
        for r in far.T
    )
    return low, mid, high


def _fixes(plot: Plot) -> tuple[Floats, Floats]:
    latitude = plot.series.get("latitude_deg", [])
    longitude = plot.series.get("longitude_deg", [])
    return _array(latitude), _array(longitude)


def _start(latitude: Floats, longitude: Floats) -> tuple[float, float] | None:
    """The first place. [deg]"""
    if len(latitude) != len(longitude):
        return None
    both = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))
    if not len(both):
        return None
    first = both[0]
    return float(latitude[first]), float(longitude[first])


def _miles(latitude: Floats, longitude: Floats, start: tuple[float, float]) -> Points:
    """Places east and north of a start, on a flat sea."""
    degree_nmi = METRES_PER_DEGREE / NMI
    shrink = np.cos(np.radians(start[0]))
    turn_deg = (longitude - start[1] + 180.0) % 360.0 - 180.0  # also over the date line
    east = turn_deg * shrink * degree_nmi
    north = (latitude - start[0]) * degree_nmi
    return Points(east, north)


def _some(*charts: Chart) -> list[Chart]:
    return [chart for chart in charts if chart.lines or chart.layers]


def _chart(text: str, have: dict[str, Floats], names: dict[str, str], by: float = 1.0) -> Chart:
    lines = (Line(n, said, have[n] / by) for n, said in names.items() if n in have)
    return Chart(text, tuple(lines))


def _speeds(have: dict[str, Floats]) -> Chart:
    to = units.now()
    return _chart(f"speed, {to.speed}", have, _SPEEDS, to.speed_mps)


def _volts(have: dict[str, Floats]) -> Chart:
    """The measured voltages, and from the voltage at rest down what each cause took of it."""
    plain = _chart("voltage, V", have, _VOLTS)
    if "rest_v" not in have:
        return plain
    level = have["rest_v"]
    edges, layers = {"level_0": level}, []
    for k, (name, said) in enumerate(SAG_TERMS):  # in the order in which they are taken off
        lost = have.get(f"sag_{name}", np.zeros_like(level))
        level = level - lost
        edges[f"level_{k + 1}"] = level
        if np.nanmax(np.abs(lost), initial=0.0) >= 0.02:
            layers.append(Layer(said, f"level_{k + 1}", f"level_{k}"))
    rest = Line("level_0", "at rest", edges["level_0"], predicted=True)
    title = "voltage, V, and what took it down"
    return Chart(title, (*plain.lines, rest), tuple(layers), edges)


def _cells(have: dict[str, Floats], lowest: str) -> Chart:
    """The fan of cells about their mean, and the one that is lowest on the whole."""
    if not {"cells_low_v", "cells_high_v", "cells_lowest_v"} <= have.keys():
        return Chart("", ())
    found = re.fullmatch(_CELL, lowest)
    kind, number = (found[1], int(found[2])) if found else ("cell", 0)
    edges = {"fan_low": have["cells_low_v"] * 1e3, "fan_high": have["cells_high_v"] * 1e3}
    lowest_mv = have["cells_lowest_v"] * 1e3
    line = Line("lowest", f"{kind} {number}, lowest on the whole", lowest_mv)
    fan = Layer(f"all {kind}s", "fan_low", "fan_high")
    return Chart(f"{kind}s off their mean, mV", (line,), (fan,), edges)


def _cell_band(have: dict[str, Floats]) -> Chart:
    """Lowest and highest of all cells."""
    names = sorted(n for n in have if re.fullmatch(_CELL, n))
    kinds = [[n for n in names if n.startswith(kind)] for kind in ("cell", "block")]
    found = next((group for group in kinds if len(group) > 1), [])
    if not found:
        return Chart("", ())
    volts = np.array([have[name] for name in found])
    kind = found[0].split("_")[0]
    edges = {"band_low": np.fmin.reduce(volts), "band_high": np.fmax.reduce(volts)}
    fan = Layer(f"lowest to highest {kind}", "band_low", "band_high")
    return Chart(f"{kind}s, V", (), (fan,), edges)


def _cables(have: dict[str, Floats], probes: Mapping[str, str]) -> Chart:
    """The probes, and where each would settle at the current of the moment."""
    named = {n: n[6:-7].replace("_", " ") for n in sorted(have) if n.startswith("probe_")}
    lines = []
    for name, said in named.items():
        lines.append(Line(name, said, _degrees(have[name])))
        settles = probes.get(name, "")
        if settles in have:
            lines.append(Line(settles, "", _degrees(have[settles]), predicted=True))
    predicted = any(line.predicted for line in lines)
    title = f"cables, {units.now().temperature}"
    return Chart(f"{title}; dotted: will settle" if predicted else title, tuple(lines))


def _drive(have: dict[str, Floats]) -> Chart:
    names = {
        "motor_temp_c": "motor",
        "controller_temp_c": "controller",
        "pack_temp_c": "pack",
        "ambient_temp_c": "air",
    }
    warm = {name: _degrees(have[name]) for name in names if name in have}
    return _chart(f"motor, controller, pack, {units.now().temperature}", warm, names)


def _degrees(celsius: Floats) -> Floats:
    """Temperatures in the page's unit."""
    return celsius * units.F_IN_K + units.FREEZING_F if units.now().fahrenheit else celsius


def _have(plot: Plot) -> dict[str, Floats]:
    """The columns that hold anything."""
    every = {name: _array(values) for name, values in plot.series.items()}
    return {name: values for name, values in every.items() if _any(values)}


def _array(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _any(values: Floats) -> bool:
    return bool(np.isfinite(values).any())
