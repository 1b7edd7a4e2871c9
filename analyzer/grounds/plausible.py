"""Which inputs other inputs contradict: volts against cells, speed against position, controller
against pack current, readings that stand still while what they measure moves or that come late.
"""

from collections.abc import Iterator

import numpy as np

from analyzer.grounds.current_scale import NOISY, SCALE, current_scale
from analyzer.grounds.late import LATE, recently_late
from analyzer.grounds.wiring_tests import wiring_tests
from analyzer.series import bridges
from analyzer.series.operating import (
    beside_power_w,
    controller_power_w,
    drive_threshold_w,
    motoring,
    pack_power_w,
)
from analyzer.series.series import Floats, Ints, Series, load
from logger.boat import Boat
from logger.store import Store
from logger.units import KN

LOOK_S = 900.0  # of the newest readings; assumed
LEAST_S = 60.0  # both must be there for so long; assumed
REVERSED = "the controller's current, which flows the other way"
POWER_RATIO = (0.75, 1.35)  # pack over controller; meters differ by a tenth (assumed)
NO_HOTEL_FRAC = 0.4  # of the motor's power: no kettle takes so much (assumed)
VOLTS_FRAC = 0.06  # pack against controller at most: cables lose 1 to 3 % (assumed)
# One value for so long, while another channel moved by a sixth; assumed.
FROZEN_S = 60.0
MOVED_FRAC = 0.15
POLE_DEG = 90.0  # by definition
JUMP_MPS = 30.0  # no boat of this kind goes so fast from fix to fix; assumed
JUMP_LEAST_M = 60.0  # a receiver's own wander is less; common practice, no source
TRACK_S = (30.0, 120.0)  # of the newest fixes that the speed is held against; assumed
TRACK_RATIO = (0.85, 1.3)  # speed over the way between fixes, as in the wiring's test
WANDER_M = 15.0  # between two fixes of a receiver's own; common practice, no source
STRAIGHT_COS = 0.99  # of the course's scatter: 8 degrees (assumed)
WARM_C = (-30.0, 70.0)  # a pack that works is not outside (assumed)
WARMER_K = 30.0  # than the air at most (assumed)

CELLS = "voltage_impossible"
# Findings of the wiring: the input, and what speaks against it.
BY_FINDING = {
    "cells_do_not_add_up": ("pack voltage", "the sum of the cells"),
    CELLS: ("pack voltage", "the boat file's number of cells"),
    "shunt_reversed": ("pack current", "the pack's voltage, which rises when it should fall"),
    SCALE: ("pack current", "the pack's voltage, which does not move as far as it should by it"),
    NOISY: ("pack current", "the pack's voltage, which does not go up and down with it"),
    "charge_opposite": ("charge", "the device's own gauge"),
    "charge_disagrees": ("charge", "the device's own gauge or the rests"),
    "speed_unit": ("speed over ground", "the positions"),
    "compass_jump": ("heading", "the course over ground, which did not turn with it"),
    "gear_ratio": ("shaft speed", "the motor's speed over the gear"),
}
CHANNELS = (
    "pack_voltage_v", "pack_current_a", "controller_voltage_v", "controller_current_a",
    "hotel_power_w", "solar_power_w", "shore_power_w", "shaft_speed_rps", "motor_speed_rps",
    "motor_torque_nm", "speed_ground_mps", "course_ground_deg", "latitude_deg", "longitude_deg",
    "pack_temp_c", "ambient_temp_c",
)  # fmt: skip


def contradictions(store: Store, boat: Boat, end_us: int) -> dict[str, str]:
    """Input -> what speaks against it, at a time on the timeline. [µs]"""
    found: dict[str, str] = {}
    for test in wiring_tests(boat, store, end_us):
        if test.finding is not None and test.finding.kind in BY_FINDING:
            found.setdefault(*BY_FINDING[test.finding.kind])
    recent = load(store, CHANNELS, end_us - round(LOOK_S * 1e6), end_us)
    for name, by in (*recently(recent, boat), *recently_late(store, boat, end_us)):
        found.setdefault(name, by)
    return found


def tells_nothing(by: str) -> bool:
    """Whether what speaks against an input leaves no charge: a wrong scale or number of cells."""
    return by.endswith((BY_FINDING[SCALE][1], BY_FINDING[CELLS][1]))


def since_always(by: str) -> bool:
    """Whether what speaks against an input does so over the whole log, not of late alone."""
    return LATE in by or by in {by for _, by in BY_FINDING.values()}


def flows_back(series: Series, boat: Boat) -> bool:
    """Whether the pack's current has the wrong sign, as the controller's own shows."""
    return any(by.startswith(REVERSED) for _, by in _pack_against_controller(series, boat))


def recently(series: Series, boat: Boat) -> Iterator[tuple[str, str]]:
    """What the last minutes contradict: input, and by what."""
    if (high_w := bridges.beyond_rating_w(series, boat)) is not None:
        rated_w = boat.motor.rated_power_w
        yield "controller current", f"the motor's rating: {high_w:.0f} W into {rated_w:.0f} W"
    if (back_w := bridges.gives_back_w(series, boat)) is not None:
        yield "controller current", f"the shaft that it turns: {back_w:.0f} W come out of it"
    yield from _pack_against_controller(series, boat)
    volts, current = series.get("pack_voltage_v"), series.get("pack_current_a")
    scale = current_scale(volts, current, series.step_s, boat.pack)
    if scale.finding is not None:
        yield BY_FINDING[scale.finding.kind]
    yield from _volts_against_volts(series)
    yield from _frozen(series)
    yield from _positions(series)
    yield from _temperature(series)


def _pack_against_controller(series: Series, boat: Boat) -> Iterator[tuple[str, str]]:
    taken = controller_power_w(series)
    pack = pack_power_w(series) - beside_power_w(series, boat)
    drives = motoring(series, boat) | (taken > drive_threshold_w(boat))
    drives |= pack > NO_HOTEL_FRAC * boat.motor.rated_power_w
    known = drives & np.isfinite(taken) & np.isfinite(pack)
    # Below a twentieth of the motor's power a hotel load that is only assumed matters too much.
    known &= np.fmax(taken, pack) > 0.05 * boat.motor.rated_power_w
    if known.sum() * series.step_s < LEAST_S:
        return
    ours, theirs = float(np.median(pack[known])), float(np.median(taken[known]))
    if POWER_RATIO[0] * theirs <= ours <= POWER_RATIO[1] * theirs:
        return
    text = f"{ours:.0f} W from the pack against {theirs:.0f} W into the controller"
    if POWER_RATIO[0] * theirs <= -ours <= POWER_RATIO[1] * theirs:
        # The drive's own power, with the sign of a charger.
        yield "pack current", f"{REVERSED}: {text}"
        return
    yield "pack current", f"the controller's current: {text}"
    yield "controller current", f"the pack's current: {text}"


def _volts_against_volts(series: Series) -> Iterator[tuple[str, str]]:
    pack, controller = series.get("pack_voltage_v"), series.get("controller_voltage_v")
    both = np.isfinite(pack) & np.isfinite(controller)
    if both.sum() * series.step_s < LEAST_S:
        return
    ours, theirs = float(np.median(pack[both])), float(np.median(controller[both]))
    if abs(ours - theirs) > VOLTS_FRAC * max(abs(ours), abs(theirs)):
        text = f"{ours:.1f} against {theirs:.1f} V"
        yield "pack voltage", f"the controller's voltage: {text}"
        yield "controller voltage", f"the pack's voltage: {text}"


_MOVES_WITH = (
    ("pack current", "pack_current_a", ("controller_current_a",)),
    ("controller current", "controller_current_a", ("pack_current_a",)),
    ("pack voltage", "pack_voltage_v", ("controller_voltage_v",)),
    ("speed over ground", "speed_ground_mps", ()),
)


def _frozen(series: Series) -> Iterator[tuple[str, str]]:
    """Readings that repeat to the last digit while another channel shows that they should not."""
    size = round(FROZEN_S / series.step_s)
    for name, channel, others in _MOVES_WITH:
        length = _same_for(series.get(channel))
        if length < size or series.get(channel)[-1] == 0.0:
            continue
        part = series.cut(series.n - length, series.n)
        for other in others:
            if _spread(part.get(other)) > (MOVED_FRAC if other.endswith("_a") else 0.02):
                yield name, f"itself: one value for {length * series.step_s / 60:.0f} min"
                break


def _same_for(values: Floats) -> int:
    """For how many of the last readings the value has not changed."""
    if not len(values) or not np.isfinite(values[-1]):
        return 0
    other = np.flatnonzero(values != values[-1])
    return len(values) - (int(other[-1]) + 1 if len(other) else 0)


def _spread(values: Floats) -> float:
    """Between the 5th and the 95th hundredth, over the middle; 0 where too little is there."""
    values = values[np.isfinite(values)]
    if len(values) < 10:
        return 0.0
    low, mid, high = np.percentile(np.abs(values), [5, 50, 95])
    return float((high - low) / max(mid, 1e-6))


def _positions(series: Series) -> Iterator[tuple[str, str]]:
    lat, lon = series.get("latitude_deg"), series.get("longitude_deg")
    have = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    if len(have) < 3:
        return
    beyond = lat[have][np.abs(lat[have]) > POLE_DEG]
    if len(beyond):
        yield "position", f"itself: {beyond[-1]:.0f}° is no latitude"
        return
    fixes = _fixes(series)
    apart_m, apart_s = _apart_m(lat[fixes], lon[fixes]), np.diff(fixes) * series.step_s
    jumped = (apart_m > JUMP_LEAST_M) & (apart_m > JUMP_MPS * apart_s)
    if jumped.any():
        yield "position", f"itself: it jumped by {apart_m[jumped].max():.0f} m between two fixes"
        return
    yield from _speed_against_track(series)


def _fixes(series: Series) -> Ints:
    """Where a position is new, not held from before."""
    lat, lon = series.get("latitude_deg"), series.get("longitude_deg")
    have = np.flatnonzero(np.isfinite(lat) & np.isfinite(lon))
    moved = (np.diff(lat[have]) != 0) | (np.diff(lon[have]) != 0)
    return np.concatenate([have[:1], have[1:][moved]])


def _apart_m(lat_deg: Floats, lon_deg: Floats) -> Floats:
    """From each fix to the next, on the plane beside it. (n,) to (n - 1,)"""
    north = np.diff(lat_deg) * 60 * 1852.0
    east = np.diff(lon_deg) * 60 * 1852.0 * np.cos(np.radians(lat_deg[1:]))
    return np.asarray(np.hypot(north, east))


def _speed_against_track(series: Series) -> Iterator[tuple[str, str]]:
    """The speed of now beside the way that the last fixes are apart.

    No way is shorter than the straight line between its ends; on a straight course it is as long.
    """
    for last_s in TRACK_S:
        last = series.cut(series.n - round(last_s / series.step_s), series.n)
        lat, lon = last.get("latitude_deg"), last.get("longitude_deg")
        said = last.get("speed_ground_mps")
        fixes = _fixes(last)
        if len(fixes) < 3 or (fixes[-1] - fixes[0]) * series.step_s < last_s / 2:
            continue
        ends = fixes[[0, -1]]
        have = np.arange(ends[0], ends[1])
        have = have[np.isfinite(said[have])]
        if not len(have):
            continue
        over_s = float(np.diff(ends)[0]) * series.step_s
        moved = float(_apart_m(lat[ends], lon[ends])[0]) / over_s
        mean = float(said[have].mean())
        room = WANDER_M / over_s
        course = np.radians(last.get("course_ground_deg")[have])
        straight = np.hypot(np.sin(course).mean(), np.cos(course).mean()) > STRAIGHT_COS
        if mean + room < TRACK_RATIO[0] * moved or (
            straight and mean - room > TRACK_RATIO[1] * moved
        ):
            text = f"{mean / KN:.1f} kn against {moved / KN:.1f} kn by the last fixes"
            yield "speed over ground", f"the positions: {text}"
            return


def _temperature(series: Series) -> Iterator[tuple[str, str]]:
    pack, air = series.get("pack_temp_c"), series.get("ambient_temp_c")
    pack, air = pack[np.isfinite(pack)], air[np.isfinite(air)]
    if not len(pack):
        return
    temp_c = float(np.median(pack))
    if not WARM_C[0] < temp_c < WARM_C[1]:
        yield "pack temperature", f"itself: {temp_c:.0f} °C is no pack that works"
    elif len(air) and temp_c - float(np.median(air)) > WARMER_K:
        yield "pack temperature", f"the air's: {temp_c:.0f} against {np.median(air):.0f} °C"
