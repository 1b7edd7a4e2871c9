"""How charging goes: what is wrong with it, and how long until full with what flows in now."""

import numpy as np

from analyzer.answers.snapshot import Here
from analyzer.estimation.detection import Detection
from analyzer.pack import charging
from analyzer.pack.shunt_sense import shunt_sense
from analyzer.pack.soc import PackPosterior
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.series import Series

RECENT_US = 12 * 3600 * 1_000_000  # of log; assumed
NOW_S = 120.0  # the current "as it is now" is a mean over so long; assumed
DAY_US = 24 * 3600 * 1_000_000  # by definition
SOURCES = ("solar_power_w", "shaft_speed_rps")


def charging_now(log: OpenLog, here: Here) -> tuple[tuple[Detection, ...], tuple[str, ...]]:
    """Findings about the charging of the last half day, and remarks for people."""
    span = log.store.span()
    if span is None:
        return (), ()
    first_us, last_us = span
    names = dict.fromkeys((*pack_channels(log.boat), *SOURCES))
    start_us = max(last_us - RECENT_US, first_us)
    series = log.load(tuple(names), start_us, last_us + 1)
    charge = here.charge
    if charge is None:
        return charging.findings(series, log.boat.pack, None), ()
    if charge.sign_reversed:
        return _reversed(series, log), ()
    days = _days_since_full(charge, span)
    found = charging.findings(series, log.boat.pack, days)
    return found, _remarks(series, charge, log)


def _reversed(series: Series, log: OpenLog) -> tuple[Detection, ...]:
    """A shunt the wrong way round: the charge is followed with the sign turned, nothing else is."""
    volts, amps = series.get("pack_voltage_v"), series.get("pack_current_a")
    test = shunt_sense(volts, amps, series.step_s, log.boat.pack.rated_capacity_ah)
    return () if test.finding is None else (test.finding,)


def _days_since_full(charge: PackPosterior, span: tuple[int, int]) -> float:
    """Since the pack was seen full; where it never was, since the log began."""
    since = charge.full_us if charge.full_us is not None else span[0]
    return (span[1] - since) / DAY_US


def _remarks(series: Series, charge: PackPosterior, log: OpenLog) -> tuple[str, ...]:
    inward = -_mean(series, "pack_current_a")
    left = charging.time_to_full(charge, log.boat.pack, inward)
    if left.mid is None:
        return ()
    charging_with = f"Charging{_by(series)} with {inward:.0f} A"
    band = f"{_hours(left.low)} to {_hours(left.high)}"
    full_in = f"full in about {_hours(left.mid)} ({band})"
    return (f"{charging_with}: {full_in}, {left.reason}.",)


def _mean(series: Series, name: str) -> float:
    steps = max(round(NOW_S / series.step_s), 1)
    last = series.get(name)[-steps:]
    return float(np.nanmean(last)) if np.isfinite(last).any() else float("nan")


def _by(series: Series) -> str:
    """What of the current comes from the sun or the turning propeller, as far as it is measured."""
    sun, turns = _mean(series, "solar_power_w"), _mean(series, "shaft_speed_rps")
    inward = -_mean(series, "pack_current_a") * _mean(series, "pack_voltage_v")
    said = []
    if np.isfinite(sun) and sun > 0 and np.isfinite(inward) and inward > 0:
        said.append(f"the sun, {100 * min(sun / inward, 1.0):.0f} % of it")
    if np.isfinite(turns) and turns != 0:
        said.append("the turning propeller")
    return f" by {' and '.join(said)}," if said else ""


def _hours(seconds: float | None) -> str:
    if seconds is None:
        return "?"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
