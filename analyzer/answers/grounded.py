"""What an answer's grounds do to it: it names what is broken first, or cannot say."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.ground import Ground, broken, standing_of
from analyzer.estimation.results import RangeAnswer
from analyzer.grounds.decide import VOLTAGES, charge_lost, grounds
from analyzer.grounds.plausible import LOOK_S, REVERSED, since_always
from analyzer.pack.soc import GAUGE_SD, PackPosterior, known
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.units import HOUR_S

MOST = 3  # grounds named in one clause; assumed
RANGE_INPUTS = (
    "charge", "pack current", "pack voltage", "controller current", "controller voltage",
    "speed over ground", "course over ground", "position", "pack temperature", "cells",
    "heading", "speed through water", "shaft speed",
)  # fmt: skip
COUNTED = ("pack current", "pack voltage", "controller current", "speed over ground")
PLAN_INPUTS = (
    "charge", "pack current", "pack voltage", "controller current", "speed over ground",
    "pack temperature",
)  # fmt: skip
HEADINGS = ("heading_true_deg", "heading_magnetic_deg")
VELOCITY = ("speed_ground_mps", "course_ground_deg")
NO_STREAM = "the speed over ground is not believed, and without it no stream is told"
HOME_INPUTS = ("position", "charge", "pack current", "pack voltage", "speed over ground")


def standings(log: OpenLog, end_us: int) -> tuple[Ground, ...]:
    """How every input stands at a time of the timeline. [µs]"""
    return grounds(log.store, log.boat, end_us)


def charge_of(
    log: OpenLog, followed: PackPosterior | None, rows: Sequence[Ground], end_us: int
) -> PackPosterior | None:
    """The charge as it may be used: followed, else told by a device, else None.

    A charge whose current fell silent a while ago is not one of now (`charge_lost`).
    """
    ground = standing_of(rows, "charge")
    if followed is not None and not any(log.store.last(name) for name in VOLTAGES):
        followed = None  # counted from a charge that nothing ever told
    if ground is None:
        return followed
    if ground.standing == "told by a device":
        gauge = log.store.last(ground.channel)
        return known(log.boat.pack, gauge[1], GAUGE_SD, t_us=end_us) if gauge else None
    current = standing_of(rows, "pack current")
    if current is not None and current.by.startswith(REVERSED) and followed is not None:
        return replace(followed, sign_reversed=True)
    lost = charge_lost(rows, end_us / 1e6)
    return followed if lost is None or lost.standing == "assumed" else None


def believed(series: Series, rows: Sequence[Ground]) -> Series:
    """Without the velocity over ground where that is contradicted: no stream, no point of the power
    curve is learned from it, and the speed of now is that of the power. Without a heading that is.
    """
    heading = standing_of(rows, "heading")
    if heading is not None and heading.standing == "contradicted by":
        told = {name: v for name, v in series.values.items() if name not in HEADINGS}
        series = replace(series, values=told)
    speed = standing_of(rows, "speed over ground")
    if speed is None or speed.standing != "contradicted by":
        return series
    lost = series.n if since_always(speed.by) else round(LOOK_S / series.step_s)
    known = np.arange(series.n) < series.n - lost
    wrong = {name: np.where(known, series.get(name), np.nan) for name in VELOCITY}
    return replace(series, values=series.values | wrong)


def words(ground: Ground, now_s: float, verb: bool = False) -> str:
    """A ground as part of a sentence, as a clause by itself with its verb."""
    be, was = (" is", " was") if verb else ("", "")
    if ground.standing != "measured until":
        how = f"assumed, {ground.by}" if ground.standing == "assumed" else ""
        how = how or f"{_HOW[ground.standing]} {ground.by}".rstrip()
        return f"the {ground.input}{be} {how}"
    seconds = now_s - (ground.until_utc_s or now_s)
    ago = f"{seconds / 60:.0f} min"
    if seconds < 90:
        ago = f"{seconds:.0f} s"
    elif seconds >= 6000:
        ago = f"{seconds / HOUR_S:.0f} h"
    return f"the {ground.input}{was} last read {ago} ago"


_HOW = {
    "measured now": "measured",
    "contradicted by": "contradicted by",
    "bridged by": "bridged by",
    "told by a device": "told by",
}


def condition(rows: Sequence[Ground], inputs: Sequence[str], now_s: float) -> str:
    """The first clause: "with the pack current last read 12 min ago"; empty where all is well."""
    found = list(broken(rows, inputs))
    charge = standing_of(rows, "charge")
    if charge is not None and charge.standing in ("bridged by", "told by a device"):
        found.insert(0, charge)
    told = {g.by or g.standing for g in found if g.input != "charge"}
    shown = [g for g in found if not (g.input == "charge" and g.broken and (g.by or "") in told)]
    shown = _once(shown)
    order = {name: k for k, name in enumerate(inputs)}
    shown.sort(key=lambda g: (g.standing != "contradicted by", order.get(g.input, 0)))
    parts = [words(ground, now_s) for ground in shown[:MOST]]
    parts += [f"the {ground.input} {seldom(ground)}" for ground in sparse(rows, inputs)[:1]]
    if not parts:
        return ""
    *first, last = parts
    listed = [", ".join(first)] if first else []
    return "with " + " and ".join([*listed, last])


def _once(found: Sequence[Ground]) -> list[Ground]:
    """One of those that the same speaks against."""
    return [g for k, g in enumerate(found) if not g.by or g.by not in {o.by for o in found[:k]}]


def sparse(rows: Sequence[Ground], inputs: Sequence[str]) -> list[Ground]:
    """Inputs that every figure is counted from and that are read too seldom."""
    return [g for g in rows if g.sparse and g.input in COUNTED and g.input in inputs]


def seldom(ground: Ground) -> str:
    """How seldom an input is read. "read only every 60 s"."""
    return f"read only every {ground.interval_s or 0.0:.0f} s"


def of_range(answer: RangeAnswer, rows: Sequence[Ground]) -> RangeAnswer:
    """An answer about range with its grounds, which it names or for which it cannot say."""
    now_s = answer.asked_utc_s
    answer = replace(answer, grounds=tuple(rows), condition=condition(rows, RANGE_INPUTS, now_s))
    if answer.home is not None:
        of_home = tuple(row for row in rows if row.input in HOME_INPUTS)
        answer = replace(answer, home=replace(answer.home, grounds=of_home))
    if not answer.charge.known:
        return _without_charge(answer, rows)
    return answer


def _without_charge(answer: RangeAnswer, rows: Sequence[Ground]) -> RangeAnswer:
    """How far cannot be said without a charge; what a full pack would give stands in the curve."""
    why = answer.charge.reason
    silent = _once(broken(rows, ("pack current", "pack voltage", "charge")))
    if silent:
        why = ", ".join(words(ground, answer.asked_utc_s, verb=True) for ground in silent)
    charge = replace(answer.charge, reason=why)
    gone, lasts = _none(answer.distance, why), _none(answer.duration, why)
    return replace(answer, charge=charge, distance=gone, duration=lasts, limit="", limit_shares={})


def _none(before: Estimate, why: str) -> Estimate:
    return cannot_say(why, before.unit, before.missing)
