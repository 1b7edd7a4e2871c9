"""What a trip's charts show: columns on one clock, worked out from its thinned channels."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from analyzer.results import Plot
from logger.units import KN, KW, NMI

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
_FAMILIES = r"(cell_\d+_voltage_v|block_\d+_voltage_v|probe_[a-z0-9_]+_temp_c)"


@dataclass(frozen=True)
class Line:
    """One line of a chart."""

    column: str
    text: str
    values: Floats


@dataclass(frozen=True)
class Chart:
    """One chart over time. fan: lowest and highest of the cells, if it has one."""

    text: str
    lines: tuple[Line, ...]
    fan: tuple[Floats, Floats] | None = None


@dataclass(frozen=True)
class Track:
    """The way gone, in nautical miles east and north of the start."""

    east_nmi: Floats
    north_nmi: Floats


def wanted(held: Iterable[str]) -> tuple[str, ...]:
    """The channels that the charts need, of those that the log holds."""
    return tuple(n for n in held if n in _ALWAYS or re.fullmatch(_FAMILIES, n))


def times_ms(plot: Plot) -> Floats:
    """Times as a chart's axis counts them: milliseconds, in the board's own time zone."""
    return (_array(plot.t_utc_s) + zone_offset_s(plot.t_utc_s)) * 1e3


def zone_offset_s(t_utc_s: Sequence[float]) -> float:
    """The board's time zone at the start, so that charts and page show the same clock."""
    if not t_utc_s:
        return 0.0
    offset = datetime.fromtimestamp(t_utc_s[0], UTC).astimezone().utcoffset()
    return offset.total_seconds() if offset else 0.0


def charts(plot: Plot) -> list[Chart]:
    """The charts that the trip's channels allow, in the order of the page."""
    have = {k: v for k, v in ((k, _array(v)) for k, v in plot.series.items()) if _any(v)}
    if {"pack_voltage_v", "pack_current_a"} <= have.keys():
        have["power_w"] = have["pack_voltage_v"] * have["pack_current_a"]
    found = [
        _chart(
            "speed, kn",
            have,
            {"speed_water_mps": "through water", "speed_ground_mps": "over ground"},
            KN,
        ),
        _chart(
            "power, kW", have, {"power_w": "from the pack", "solar_power_w": "from the sun"}, KW
        ),
        _chart(
            "voltage, V",
            have,
            {"pack_voltage_v": "at the pack", "controller_voltage_v": "at the controller"},
        ),
        _cells(have),
        _temperatures(have),
    ]
    return [chart for chart in found if chart.lines]


def track(plot: Plot) -> Track | None:
    """The way gone; None where no position was recorded."""
    latitude, longitude = (
        _array(plot.series.get(n, [])) for n in ("latitude_deg", "longitude_deg")
    )
    if not len(latitude) or not _any(latitude) or len(latitude) != len(longitude):
        return None
    first = int(np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))[0])
    degree_nmi = METRES_PER_DEGREE / NMI
    shrink = np.cos(np.radians(latitude[first]))
    return Track(
        (longitude - longitude[first]) * shrink * degree_nmi,
        (latitude - latitude[first]) * degree_nmi,
    )


def _chart(text: str, have: dict[str, Floats], names: dict[str, str], by: float = 1.0) -> Chart:
    lines = (Line(n, said, have[n] / by) for n, said in names.items() if n in have)
    return Chart(text, tuple(lines))


def _cells(have: dict[str, Floats]) -> Chart:
    """Each cell less the mean of all: the fan's edges, and the one that is lowest on the whole."""
    names = sorted(n for n in have if re.match(r"(cell|block)_\d+_voltage_v", n))
    if len(names) < 2:
        return Chart("", ())
    off_mv = np.array([have[name] for name in names])
    off_mv = (off_mv - off_mv.mean(axis=0)) * 1e3
    seen = np.isfinite(off_mv).all(axis=0)
    if not seen.any():
        return Chart("", ())
    lowest = int(off_mv[:, seen].mean(axis=1).argmin())
    kind, number = names[lowest].split("_")[:2]
    line = Line("lowest_cell", f"{kind} {int(number)}, lowest on the whole", off_mv[lowest])
    return Chart(f"{kind}s off their mean, mV", (line,), (off_mv.min(axis=0), off_mv.max(axis=0)))


def _temperatures(have: dict[str, Floats]) -> Chart:
    probes = {n: n[6:-7].replace("_", " ") for n in sorted(have) if n.startswith("probe_")}
    others = {
        "motor_temp_c": "motor",
        "controller_temp_c": "controller",
        "pack_temp_c": "pack",
        "ambient_temp_c": "air",
    }
    return _chart("temperature, °C", have, probes | others)


def _array(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _any(values: Floats) -> bool:
    return bool(np.isfinite(values).any())
