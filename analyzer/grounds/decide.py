"""Decides the standing of every input at one time, from the log's channels and the boat file.

A channel is measured now while its newest reading is no older than ten of its own intervals, as
the flag for silence has it. What is contradicted was found by `plausible`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.ground import Ground, Standing, standing_of
from analyzer.grounds.plausible import REVERSED, contradictions, tells_nothing
from analyzer.series.operating import usual_hotel_w
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage, probe_temp
from logger.store import Store

INTERVALS = 10.0  # assumed: a channel that missed so many of its own is not measured now
LEAST_S, OTHER_S = 30.0, 90.0  # as the flag for silence: of the pack, and of the rest; assumed
LOOK_US = 600_000_000  # of a channel's end, for its usual interval; assumed
PACK = ("pack current", "pack voltage", "controller current", "controller voltage")
# Any of these tells a charge that is then counted on; by definition.
VOLTAGES = ("pack_voltage_v", "controller_voltage_v", cell_voltage(1), block_voltage(1))
INPUTS = {
    "pack voltage": ("pack_voltage_v",),
    "pack current": ("pack_current_a",),
    "charge by the device's own gauge": ("pack_soc_frac",),
    "controller voltage": ("controller_voltage_v",),
    "controller current": ("controller_current_a",),
    "hotel load": ("hotel_power_w",),
    "sun": ("solar_power_w",),
    "pack temperature": ("pack_temp_c",),
    "speed over ground": ("speed_ground_mps",),
    "course over ground": ("course_ground_deg",),
    "position": ("latitude_deg",),
    "heading": ("heading_true_deg", "heading_magnetic_deg"),
    "speed through water": ("speed_water_mps",),
    "shaft speed": ("shaft_speed_rps", "motor_speed_rps"),
}


# At half the capacity an hour that is 4 % of charge: beyond, it is not known; assumed.
SILENT_S = 300.0


@dataclass(frozen=True)
class Read:
    """When an input was last read, by which channel, and how often it comes. [µs], [s]"""

    channel: str
    last_us: int
    interval_s: float | None


def grounds(store: Store, boat: Boat, end_us: int) -> tuple[Ground, ...]:
    """The standing of every input at a time on the timeline. [µs]"""
    wrong = contradictions(store, boat, end_us)
    reads = {name: _read(store, channels, end_us) for name, channels in _inputs(boat).items()}
    found = {name: _direct(name, read, end_us) for name, read in reads.items()}
    for name, by in wrong.items():
        if found.get(name) is not None:
            found[name] = _with(found[name], "contradicted by", by)
    direct = {name: ground for name, ground in found.items() if ground is not None}
    rows = {**direct, **_stand_ins(direct, boat)}
    rows["charge"] = _charge(rows, wrong.get("charge", ""))
    return tuple(rows[name] for name in (*_inputs(boat), "charge") if name in rows)


def charge_lost(rows: Sequence[Ground], end_s: float) -> Ground | None:
    """What leaves no charge of now: nothing measures it, or what did fell silent, is turned round
    or cannot be (`plausible.tells_nothing`).

    None where it is known.
    """
    charge = standing_of(rows, "charge")
    current = standing_of(rows, "pack current")
    if charge is None or charge.standing == "assumed":
        return charge
    if charge.standing == "told by a device":
        return None
    if charge.by.startswith(REVERSED) or tells_nothing(charge.by):
        return charge
    silent = next((g for g in (charge, current) if g and g.standing == "measured until"), None)
    if silent is None:
        return None
    since_s = end_s - ((current or silent).until_utc_s or 0.0)
    return silent if since_s > SILENT_S else None


def _inputs(boat: Boat) -> dict[str, tuple[str, ...]]:
    """Every input and the channels that read it; of cells and probes the first that arrives."""
    cells = tuple(cell_voltage(k + 1) for k in range(boat.pack.cells_in_series))
    blocks = tuple(block_voltage(k + 1) for k in range(boat.pack.blocks_in_series or 0))
    probes = tuple(probe_temp(cable.probe) for cable in boat.cable if cable.probe)
    return INPUTS | {"cells": (*cells, *blocks), "cable probes": probes}


def _read(store: Store, channels: tuple[str, ...], end_us: int) -> Read | None:
    """The newest reading of an input before a time."""
    spans = store.channels()
    found = []
    for name in channels:
        if name not in spans or spans[name].first_us >= end_us:
            continue
        start_us = min(spans[name].last_us, end_us) - LOOK_US
        t_us, values = store.read(name, start_us, end_us)
        t_us = t_us[np.isfinite(values)]
        if len(t_us):
            gap_s = None
            if len(t_us) > 2:
                gap_us = float(np.median(np.diff(t_us)))
                gap_s = gap_us / 1e6
            found.append(Read(name, int(t_us[-1]), gap_s))
    return max(found, key=lambda read: read.last_us, default=None)


def _direct(name: str, read: Read | None, end_us: int) -> Ground | None:
    """As its own channel has it; None where it was never read."""
    if read is None:
        return None
    limit_s = LEAST_S if name in PACK else OTHER_S
    limit_s = max(limit_s, INTERVALS * (read.interval_s or 0.0))
    age_s = (end_us - read.last_us) / 1e6
    now = age_s <= limit_s
    standing: Standing = "measured now" if now else "measured until"
    return Ground(name, standing, "", read.channel, read.last_us / 1e6, read.interval_s)


def _with(ground: Ground | None, standing: Standing, by: str) -> Ground:
    assert ground is not None
    return Ground(ground.input, standing, by, ground.channel, ground.until_utc_s, ground.interval_s)


def _now(rows: dict[str, Ground], *names: str) -> bool:
    return all(n in rows and rows[n].standing == "measured now" for n in names)


def _stand_ins(rows: dict[str, Ground], boat: Boat) -> dict[str, Ground]:
    """What stands in for inputs that are not measured now."""
    out: dict[str, Ground] = {}
    if not _now(rows, "pack current") and _now(rows, "controller current"):
        held = rows.get("pack current", Ground("pack current", "assumed"))
        if held.standing != "contradicted by":
            by = "the controller's current, the hotel load and the sun"
            out["pack current"] = _with(held, "bridged by", by)
    if not _now(rows, "pack voltage") and _now(rows, "controller voltage"):
        held = rows.get("pack voltage", Ground("pack voltage", "assumed"))
        if held.standing != "contradicted by":
            out["pack voltage"] = _with(held, "bridged by", "the controller's voltage")
    if "hotel load" not in rows:
        mean_w, _ = usual_hotel_w(boat)
        told = "power_w" in boat.hotel.model_fields_set
        whose = "the boat file's" if told else "what boats of its length use,"
        out["hotel load"] = Ground("hotel load", "assumed", f"{whose} {mean_w:.0f} W")
    if "sun" not in rows and boat.solar.peak_w > 0:
        out["sun"] = Ground("sun", "assumed", "the sun's height and any clouds")
    if "pack temperature" not in rows:
        out["pack temperature"] = Ground("pack temperature", "assumed", "20 °C, or the air's")
    return out


def _charge(rows: dict[str, Ground], wrong: str) -> Ground:
    """Of the charge, that is followed by the pack's current and voltage."""
    current = rows.get("pack current")
    volts = rows.get("pack voltage")
    if wrong:
        return Ground("charge", "contradicted by", wrong)
    doubted = [g.by for g in (current, volts) if g is not None and g.standing == "contradicted by"]
    if doubted:
        # What leaves no charge at all comes before what makes it doubtful.
        return Ground("charge", "contradicted by", max(doubted, key=tells_nothing))
    gauge = rows.get("charge by the device's own gauge")
    if current is None or (current.standing == "measured until" and _known_now(gauge)):
        if gauge is not None:
            return Ground("charge", "told by a device", "a device's own gauge", gauge.channel,
                          gauge.until_utc_s, gauge.interval_s)  # fmt: skip
        return Ground("charge", "assumed", "nothing that measures it")
    return Ground("charge", current.standing, current.by, "", current.until_utc_s)


def _known_now(ground: Ground | None) -> bool:
    return ground is not None and ground.standing == "measured now"
