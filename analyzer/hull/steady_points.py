"""Points of steady motoring, kept trip by trip: power against speed through water."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analyzer.series.series import Bools, Floats, Ints

LEG_LOG_SD = 0.12  # wind and sea of one leg, in ln power; assumed
SPEED_BIN_MPS = 0.1  # old points so near in speed are merged; assumed
NEWEST = 80  # points that are kept as they are; assumed
_PLAIN = ("speed_mps", "power_w", "log_sd", "speed_sd_mps", "duration_s", "t_utc_s")


@dataclass(frozen=True)
class SteadyPoints:
    """Steady motoring, one point per leg and setting; every array has shape (n,).

    Args:
        speed_mps: Through water. power_w: From the pack for propulsion, hotel and sun removed.
        log_sd: Relative error of its own. speed_sd_mps: Error of speed shared by a group.
        duration_s: Time behind it. t_utc_s: Its middle. group: Which leg.
        used: Channels behind them.
        wind_log_sd: What a wind not measured may have done to ln power, shared by a group; None:
            nothing.
        heading_deg: NaN or None where it is not known.
    """

    speed_mps: Floats
    power_w: Floats
    log_sd: Floats
    speed_sd_mps: Floats
    duration_s: Floats
    t_utc_s: Floats
    group: Ints
    used: tuple[str, ...] = ()
    wind_log_sd: Floats | None = None
    heading_deg: Floats | None = None

    @property
    def headings(self) -> Floats:
        """`heading_deg`, NaN for None."""
        unknown = np.full(len(self.speed_mps), np.nan)
        return unknown if self.heading_deg is None else self.heading_deg

    @property
    def winds(self) -> Floats:
        """`wind_log_sd`, zeros for None."""
        return np.zeros(len(self.speed_mps)) if self.wind_log_sd is None else self.wind_log_sd

    @property
    def middle_mps(self) -> float:
        """The middle speed by time: half of the motoring was slower. Wants a point at least."""
        order = np.argsort(self.speed_mps)
        time = np.cumsum(self.duration_s[order])
        return float(self.speed_mps[order][np.searchsorted(time, time[-1] / 2)])

    @classmethod
    def none(cls) -> "SteadyPoints":
        """No points."""
        arrays: dict[str, Any] = dict.fromkeys(_PLAIN, np.zeros(0))
        return cls(**arrays, group=np.zeros(0, dtype=np.int64))

    @classmethod
    def join(cls, parts: Sequence["SteadyPoints"]) -> "SteadyPoints":
        """Several trips' points as one set; groups stay apart."""
        parts = [p for p in parts if len(p.speed_mps)]
        if not parts:
            return cls.none()
        tables = [part._arrays() for part in parts]
        arrays = {name: np.concatenate([t[name] for t in tables]) for name in tables[0]}
        groups = []
        shift = 0
        for part in parts:
            groups.append(part.group + shift)
            shift = int(groups[-1].max()) + 1
        used = dict.fromkeys(name for part in parts for name in part.used)
        return cls(**arrays, group=np.concatenate(groups), used=tuple(used))

    def take(self, which: Bools | Ints) -> "SteadyPoints":
        """The points picked by a mask (n,) or by their indices."""
        arrays = {name: values[which] for name, values in self._arrays().items()}
        return SteadyPoints(**arrays, group=self.group[which], used=self.used)

    def _arrays(self) -> dict[str, Floats]:
        """All but the group."""
        arrays = {name: getattr(self, name) for name in _PLAIN}
        arrays["wind_log_sd"] = self.winds
        arrays["heading_deg"] = self.headings
        return arrays

    def to_dict(self) -> dict[str, Any]:
        """Plain lists, for JSON."""
        lists = {name: values.tolist() for name, values in self._arrays().items()}
        if not np.isfinite(self.headings).all():
            lists["heading_deg"] = None  # JSON has no NaN
        return lists | {"group": self.group.tolist(), "used": list(self.used)}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "SteadyPoints":
        """The inverse of `to_dict`."""
        lists = {name: data[name] for name in _PLAIN}
        for name in ("wind_log_sd", "heading_deg"):
            if data.get(name) is not None:
                lists[name] = data[name]
        return cls(
            **{name: np.asarray(v, dtype=np.float64) for name, v in lists.items()},
            group=np.asarray(data["group"], dtype=np.int64),
            used=tuple(data["used"]),
        )


def compact(points: SteadyPoints, newest: int = NEWEST) -> SteadyPoints:
    """Many trips' points made few: the newest as they are, older ones merged speed by speed.

    What a merged point is off by is what its members are off by, over the root of how many
    legs they came from; its group is below zero, and wind and sea are in its own error.
    """
    order = np.argsort(points.t_utc_s)
    if len(order) <= 2 * newest:
        return points
    old, young = order[:-newest], points.take(order[-newest:])
    bins = np.round(points.speed_mps[old] / SPEED_BIN_MPS).astype(np.int64)
    merged = [_merged(points.take(old[bins == k])) for k in np.unique(bins)]
    arrays = {
        name: np.concatenate([[row[name] for row in merged], getattr(young, name)])
        for name in _PLAIN
    }
    return SteadyPoints(
        **arrays,
        group=np.concatenate([-1 - np.arange(len(merged)), young.group]).astype(np.int64),
        used=points.used,
        wind_log_sd=np.concatenate([np.zeros(len(merged)), young.winds]),
    )


def _merged(points: SteadyPoints) -> dict[str, float]:
    """Some points as one."""
    stretches = len(np.unique(points.group))

    def mean(values: Floats) -> float:
        return float(np.average(values, weights=points.duration_s))

    spread = np.hypot(LEG_LOG_SD, mean(points.winds)) / np.sqrt(stretches)
    own = mean(points.log_sd) / np.sqrt(len(points.speed_mps))
    return {
        "speed_mps": mean(points.speed_mps),
        "power_w": float(np.exp(mean(np.log(points.power_w)))),
        "log_sd": float(np.hypot(own, spread)),
        "speed_sd_mps": mean(points.speed_sd_mps) / np.sqrt(stretches),
        "duration_s": float(points.duration_s.sum()),
        "t_utc_s": mean(points.t_utc_s),
    }
