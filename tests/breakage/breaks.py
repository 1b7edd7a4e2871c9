"""Ways in which a boat's instruments, recorder and boat file go wrong.

Each kind is one small function of a recording and a `Break`; `APPLY` is the list of all kinds.
A throttle that is moved is no fault of an instrument: it is made when the day is sailed, in
`recordings.recording`, and stands in the list with a function that changes nothing.
"""

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tests.breakage.recordings import Floats, Reading, Recording, channels_of, devices_of

EARTH_M_PER_DEG = 111_195.0  # mean of the sphere of 6371 km


@dataclass(frozen=True)
class Break:
    """One thing that is wrong.

    Args:
        kind: A key of `APPLY`.
        what: The channel, device or entry of the boat file that is broken.
        from_s: From when on, since the recording's start.
        amount: Size, in what the kind says.
        other: The other channel of a swap.
        seed: For noise.
    """

    kind: str
    what: str = ""
    from_s: float = 0.0
    amount: float = 0.0
    other: str = ""
    seed: int = 0

    def __str__(self) -> str:
        both = f"{self.what} with {self.other}" if self.other else self.what
        return f"{self.kind} {both} from {self.from_s:.0f} s, {self.amount:g}".replace("  ", " ")


Apply = Callable[[Recording, Break], Recording]


def apply(recording: Recording, breaks: tuple[Break, ...]) -> Recording:
    """The recording with everything broken that is asked for, one after another."""
    for one in breaks:
        recording = APPLY[one.kind](recording, one)
    return recording


def _with(recording: Recording, **changed: Reading) -> Recording:
    return replace(recording, readings={**recording.readings, **changed})


def _names(recording: Recording, what: str) -> tuple[str, ...]:
    """The channels that a break means: one, or all of a device."""
    if what in recording.readings:
        return (what,)
    return channels_of(what, recording.readings)


def _value_break(change: Callable[[Floats, Break], Floats]) -> Apply:
    """A break that changes values from a moment on and leaves the times."""

    def applied(recording: Recording, one: Break) -> Recording:
        changed = {}
        for name in _names(recording, one.what):
            said = recording.readings[name]
            after = said.t_s >= one.from_s
            changed[name] = Reading(said.t_s, np.where(after, change(said.value, one), said.value))
        return _with(recording, **changed)

    return applied


def dead(recording: Recording, one: Break) -> Recording:
    """Nothing more comes."""
    gone = {}
    for name in _names(recording, one.what):
        said = recording.readings[name]
        there = said.t_s < one.from_s
        gone[name] = Reading(said.t_s[there], said.value[there])
    return _with(recording, **gone)


def frozen(recording: Recording, one: Break) -> Recording:
    """The last value comes again and again."""
    stuck = {}
    for name in _names(recording, one.what):
        said = recording.readings[name]
        before = said.value[(said.t_s <= one.from_s) & ~np.isnan(said.value)]
        last = before[-1] if len(before) else np.nan
        stuck[name] = Reading(said.t_s, np.where(said.t_s >= one.from_s, last, said.value))
    return _with(recording, **stuck)


def _noise(value: Floats, one: Break) -> Floats:
    """amount: standard deviation, in the channel's unit."""
    return value + one.amount * np.random.default_rng(one.seed).standard_normal(len(value))


def _shifted(recording: Recording, one: Break, shift: Callable[[Floats], Floats]) -> Recording:
    """New times; a reading never comes before the one ahead of it."""
    moved = {}
    for name in _names(recording, one.what):
        said = recording.readings[name]
        moved[name] = Reading(np.maximum.accumulate(shift(said.t_s)), said.value)
    return _with(recording, **moved)


def delayed(recording: Recording, one: Break) -> Recording:
    """Readings arrive `amount` seconds after what they measure."""
    return _shifted(recording, one, lambda t: np.where(t >= one.from_s, t + one.amount, t))


def sparse(recording: Recording, one: Break) -> Recording:
    """One reading every `amount` seconds; without `what`, of every device."""
    names = _names(recording, one.what) if one.what else tuple(recording.readings)
    thin = {}
    for name in names:
        said = recording.readings[name]
        keep = (said.t_s < one.from_s) | ((said.t_s - one.from_s) % one.amount < 1.0)
        thin[name] = Reading(said.t_s[keep], said.value[keep])
    return _with(recording, **thin)


def swapped(recording: Recording, one: Break) -> Recording:
    """Two channels under each other's name."""
    a, b = recording.readings[one.what], recording.readings[one.other]
    return _with(recording, **{one.what: b, one.other: a})


def gps_jumps(recording: Recording, one: Break) -> Recording:
    """The position lies `amount` metres off, to the north-east, for ten minutes or for good."""
    lasting = np.inf if one.other == "for good" else 600.0
    moved = {}
    for name in ("latitude_deg", "longitude_deg"):
        said = recording.readings[name]
        off = (said.t_s >= one.from_s) & (said.t_s < one.from_s + lasting)
        moved[name] = Reading(said.t_s, said.value + off * one.amount / EARTH_M_PER_DEG / 1.414)
    return _with(recording, **moved)


def dated_wrong(recording: Recording, one: Break) -> Recording:
    """Every boot's date is wrong by `amount` seconds."""
    return replace(recording, boots=tuple((t, e + one.amount) for t, e in recording.boots))


def restarted(recording: Recording, one: Break) -> Recording:
    """The recorder loses power for `amount` seconds and starts again as a new boot."""
    end = one.from_s + one.amount
    left = {}
    for name, said in recording.readings.items():
        there = (said.t_s < one.from_s) | (said.t_s >= end)
        left[name] = Reading(said.t_s[there], said.value[there])
    error = recording.boots[-1][1]
    return replace(recording, readings=left, boots=(*recording.boots, (end, error)))


def boat_file(recording: Recording, one: Break) -> Recording:
    """One number of the boat file, "table.key", times `amount`; counts stay whole."""
    boat: dict[str, Any] = copy.deepcopy(recording.boat)
    table, key = one.what.split(".")
    old = boat[table][key]
    boat[table][key] = round(old * one.amount) if isinstance(old, int) else old * one.amount
    return replace(recording, boat=boat)


def throttle(recording: Recording, one: Break) -> Recording:
    """Made when the day was sailed."""
    return recording


scaled = _value_break(lambda value, one: value * one.amount)

APPLY: dict[str, Apply] = {
    "dead": dead,
    "frozen": frozen,
    "noisy": _value_break(_noise),
    "scaled": scaled,
    "offset": _value_break(lambda value, one: value + one.amount),
    "reversed": _value_break(lambda value, one: -value),
    "swapped": swapped,
    "cells swapped": swapped,
    "delayed": delayed,
    "sparse": sparse,
    "unit": scaled,
    "fahrenheit": _value_break(lambda value, one: value * 1.8 + 32.0),
    "gps jumps": gps_jumps,
    "dated wrong": dated_wrong,
    "restarted": restarted,
    "boat file": boat_file,
    "throttle": throttle,
}

# By what words an answer names the broken input, as part of a regular expression.
WORDS = {
    "pack_voltage_v": r"volt",
    "pack_current_a": r"\bcurrents?\b|shunt|pack sensor|amp",
    "pack sensor": r"pack sensor|shunt|pack's (volt|current)|pack (volt|current)",
    "pack_soc_frac": r"gauge|state of charge|device",
    "gauge": r"gauge|device|pack temp",
    "gps": r"gps|position|ground speed|speed over ground",
    "speed log": r"speed log|water[- ]speed|paddle",
    "compass": r"compass|heading",
    "controller": r"controller|shaft|motor (current|power)",
    "cell monitor": r"\bcells?\b",
    "probes": r"probe|temperature",
    "charging": r"solar|panel|\bsun|shore|charger",
    "boat file": r"boat file",
    "dated wrong": r"\bdates?\b|clock|\bdated",
    "restarted": r"restart|recorder|recorded|\bgap\b|missing",
    "sparse": r"sparse|readings?|a minute|once (a|every)|seconds apart",
    "throttle": r"throttle|settle|last steady|changed",
}
_ENTRY_WORDS = {
    "pack.rated_capacity_ah": r"capacity",
    "pack.cells_in_series": r"number of cells|cells in series",
    "pack.cell_full_v": r"full volt",
    "reserve.soc_frac": r"reserve",
    "hull.displacement_kg": r"displacement",
}


def words(one: Break) -> str:
    """A regular expression that finds the broken input's name in a sentence."""
    parts = [WORDS[one.kind]] if one.kind in WORDS else []
    if one.kind == "boat file":
        parts.append(_ENTRY_WORDS.get(one.what, ""))
    for name in (one.what, one.other) if one.kind != "boat file" else ():
        if name in WORDS:
            parts.append(WORDS[name])
        elif name.endswith(("_v", "_a", "_c", "_deg", "_mps", "_w", "_rps", "_frac", "_nm")):
            parts.append(WORDS[devices_of(name)])
    return "|".join(p for p in parts if p)
