"""Cases by seed: the same seed is always the same case."""

from collections.abc import Callable, Sequence

import numpy as np

from tests.breakage.breaks import APPLY, Break
from tests.breakage.cases import MINUTE_S, Case
from tests.breakage.recordings import DEMO, DEVICES, KITS, Throttle, scene_of

Rng = np.random.Generator

BOATS = 400  # invented boats are drawn from so many
DEMO_SHARE, BROKEN_TWICE, NOT_MOTORING, JUST_NOW = 0.15, 0.3, 0.2, 0.35
KIT_SHARES = {
    "all": 0.5,
    "plain": 0.15,
    "no cells": 0.1,
    "no pack sensor": 0.1,
    "gauge and gps": 0.05,
    "no gps": 0.1,
}

# Channels whose values go wrong one by one, with the size of noise and offset that is bad for
# each: assumed, a good deal more than its sensor's own error.
ROUGH = {
    "pack_current_a": 15.0,
    "pack_voltage_v": 0.6,
    "pack_soc_frac": 0.15,
    "pack_temp_c": 20.0,
    "controller_current_a": 15.0,
    "controller_voltage_v": 1.0,
    "shaft_speed_rps": 3.0,
    "speed_ground_mps": 0.8,
    "speed_water_mps": 0.8,
    "heading_magnetic_deg": 30.0,
    "cell_03_voltage_v": 0.08,
    "probe_battery_positive_temp_c": 15.0,
    "solar_power_w": 100.0,
}
UNITS = {
    "speed_ground_mps": 3600 / 1852,  # knots taken for m/s
    "speed_water_mps": 3600 / 1852,
    "pack_voltage_v": 1000.0,  # millivolts
    "cell_03_voltage_v": 1000.0,
    "pack_current_a": 10.0,  # tenths of an ampere
    "controller_current_a": 10.0,
    "shaft_speed_rps": 60.0,  # turns a minute
    "solar_power_w": 0.001,  # kilowatts
    "pack_soc_frac": 100.0,  # per cent
}
SWAPS = (
    ("pack_voltage_v", "controller_voltage_v"),
    ("pack_current_a", "controller_current_a"),
    ("speed_ground_mps", "speed_water_mps"),
    ("probe_battery_positive_temp_c", "probe_contactor_temp_c"),
    ("solar_power_w", "shore_power_w"),
    ("latitude_deg", "longitude_deg"),
)
ENTRIES = {
    "pack.rated_capacity_ah": (0.5, 0.75, 1.33, 2.0),
    "pack.cells_in_series": (0.5, 0.9375, 1.0625, 1.5),
    "reserve.soc_frac": (0.25, 2.0),
    "hull.displacement_kg": (0.5, 2.0),
    "pack.cell_full_v": (0.95, 1.1),
}
DATES_S = (-1024 * 7 * 86400.0, -86400.0, -3600.0, 3600.0, 86400.0, 400 * 86400.0)


def draw(seed: int, kinds: Sequence[str] = (), latest_s: float = np.inf) -> Case:
    """The case of that number.

    kinds: Only these kinds of breakage; "sound" means none. Empty: all kinds.
    latest_s: The questions are put no later, where the boat motors before: short logs are asked
        in a fraction of the time.
    """
    rng = np.random.default_rng([seed, 30])
    boat = DEMO if rng.random() < DEMO_SHARE else int(rng.integers(1, BOATS + 1))
    kit = str(rng.choice(list(KIT_SHARES), p=list(KIT_SHARES.values())))
    at_s = _moment(boat, rng, latest_s)
    wanted = [k for k in (kinds or APPLY) if k != "sound"]
    number = (2 if rng.random() < BROKEN_TWICE else 1) if wanted else 0
    breaks: list[Break] = []
    for _ in range(number):
        one = _one(str(rng.choice(wanted)), kit, at_s, rng)
        if all(one.kind != b.kind and (one.what != b.what or not one.what) for b in breaks):
            breaks.append(one)
    moved = next((b for b in breaks if b.kind == "throttle"), None)
    hand = moved and Throttle(int(moved.from_s), moved.amount, int(moved.other or 0))
    return Case(boat, kit, at_s, tuple(breaks), hand)


def _moment(boat: int, rng: Rng, latest_s: float) -> int:
    """Mostly on a motoring leg, at least a quarter of an hour after the beginning."""
    legs, spans, start = scene_of(boat)[2].legs, [], 0
    for leg in legs:
        end = start + int(leg.duration_s)
        if end > 1200 and (leg.doing == "motoring" or rng.random() < NOT_MOTORING):
            spans.append((max(start, 900) + MINUTE_S, end))
        start = end
    spans = [(a, min(b, latest_s)) for a, b in spans if a < latest_s] or spans[:1]
    first, last = spans[int(rng.integers(len(spans)))]
    return int(rng.uniform(first, last)) // MINUTE_S * MINUTE_S


def _one(kind: str, kit: str, at_s: int, rng: Rng) -> Break:
    from_s = _when(at_s, rng)
    return DRAW[kind](kind, kit, from_s, at_s, rng)


def _when(at_s: int, rng: Rng) -> float:
    """From the beginning, at any time, or within the last three minutes."""
    kind = rng.random()
    if kind < 0.25:
        return 0.0
    if kind < 1 - JUST_NOW:
        return float(round(rng.uniform(300, at_s)))
    return float(at_s - round(rng.uniform(5, 180)))


def on_board(kit: str, channel: str) -> bool:
    """Whether a kit has a channel."""
    return any(channel.startswith(DEVICES[device]) for device in KITS[kit])


def _channel(kit: str, names: Sequence[str], rng: Rng) -> str:
    return str(rng.choice([name for name in names if on_board(kit, name)] or ["latitude_deg"]))


def _device_or_channel(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    """Whole devices mostly; their channels one by one too."""
    names = list(KITS[kit]) if rng.random() < 0.6 else [n for n in ROUGH if on_board(kit, n)]
    what = str(rng.choice(names))
    amount = {"delayed": (10.0, 30.0, 120.0), "sparse": (20.0, 60.0, 120.0)}.get(kind, (0.0,))
    if kind == "sparse" and rng.random() < 0.5:
        what = ""
    return Break(kind, what, from_s, float(rng.choice(amount)))


def _rough(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    what = _channel(kit, list(ROUGH), rng)
    size = ROUGH.get(what, 0.01) * float(rng.choice((0.3, 1.0, 3.0)))
    if kind == "offset" and rng.random() < 0.5:
        size = -size
    return Break(kind, what, from_s, size, seed=int(rng.integers(1 << 30)))


def _scaled(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    factor = float(rng.choice((0.1, 0.5, 0.8, 0.9, 1.1, 1.25, 2.0, 20.0)))
    return Break(kind, _channel(kit, list(ROUGH), rng), from_s, factor)


def _reversed(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    signed = ("pack_current_a", "controller_current_a", "shaft_speed_rps", "solar_power_w")
    return Break(kind, _channel(kit, signed, rng), from_s)


def _swapped(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    there = [pair for pair in SWAPS if all(on_board(kit, name) for name in pair)]
    if not there:
        return _device_or_channel("dead", kit, from_s, at_s, rng)
    a, b = there[int(rng.integers(len(there)))]
    return Break(kind, a, 0.0, other=b)


def _cells_swapped(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    if not on_board(kit, "cell_01_voltage_v"):
        return _device_or_channel("dead", kit, from_s, at_s, rng)
    a, b = rng.choice(range(1, 9), 2, replace=False)
    return Break(kind, f"cell_{a:02d}_voltage_v", 0.0, other=f"cell_{b:02d}_voltage_v")


def _unit(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    what = _channel(kit, list(UNITS), rng)
    return Break(kind, what, 0.0, UNITS.get(what, 1.0))


def _fahrenheit(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    names = ("pack_temp_c", "probe_battery_positive_temp_c", "motor_temp_c", "ambient_temp_c")
    return Break(kind, _channel(kit, names, rng), 0.0)


def _jumps(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    if not on_board(kit, "latitude_deg"):
        return _device_or_channel("dead", kit, from_s, at_s, rng)
    lasting = str(rng.choice(["for good", ""]))
    return Break(kind, "gps", from_s, float(rng.choice((300.0, 3000.0, 50_000.0))), lasting)


def _dated(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    return Break(kind, "", 0.0, float(rng.choice(DATES_S)))


def _restarted(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    gap = min(float(rng.choice((20.0, 120.0, 600.0, 3600.0))), max(at_s - from_s - 10.0, 5.0))
    return Break(kind, "", max(from_s, 60.0), gap)


def _boat_file(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    entry = str(rng.choice(list(ENTRIES)))
    return Break(kind, entry, 0.0, float(rng.choice(ENTRIES[entry])))


def _throttle(kind: str, kit: str, from_s: float, at_s: int, rng: Rng) -> Break:
    often = "180" if rng.random() < 0.3 else ""
    since = at_s - float(round(rng.uniform(5, 300)))
    if often:
        since = max(at_s - 3600.0 - float(rng.integers(180)), 60.0)
    return Break(kind, "", since, float(rng.choice((0.5, 0.7, 0.85, 1.15, 1.3))), often)


Draw = Callable[[str, str, float, int, Rng], Break]
DRAW: dict[str, Draw] = {
    "dead": _device_or_channel,
    "frozen": _device_or_channel,
    "delayed": _device_or_channel,
    "sparse": _device_or_channel,
    "noisy": _rough,
    "offset": _rough,
    "scaled": _scaled,
    "reversed": _reversed,
    "swapped": _swapped,
    "cells swapped": _cells_swapped,
    "unit": _unit,
    "fahrenheit": _fahrenheit,
    "gps jumps": _jumps,
    "dated wrong": _dated,
    "restarted": _restarted,
    "boat file": _boat_file,
    "throttle": _throttle,
}
