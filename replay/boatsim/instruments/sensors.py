"""What the instruments say of what is true: constant errors, noise, steps, gaps.

Names on the left are keelwatt's channels; the truth comes from an `Outing`.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from replay.boatsim.outing import Outing
from replay.boatsim.physics.place import Place, offset_position, wander

Floats = npt.NDArray[np.float64]

PROBES = ("battery_positive", "battery_negative", "contactor", "controller_positive")


@dataclass(frozen=True)
class Sense:
    """How one channel is measured: true * gain + offset + noise, rounded to step."""

    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.0
    step: float = 0.0

    def __call__(self, true: Floats, rng: np.random.Generator) -> Floats:
        value = true * self.gain + self.offset
        if self.noise:
            value = value + self.noise * rng.standard_normal(len(true))
        return np.round(value / self.step) * self.step if self.step else value


NAVIGATION = {
    "latitude_deg": Sense(step=1e-7),
    "longitude_deg": Sense(step=1e-7),
    "speed_ground_mps": Sense(step=0.01 * 1852 / 3600),
    "course_ground_deg": Sense(step=0.1),
    "heading_magnetic_deg": Sense(step=0.1),
    "speed_water_mps": Sense(step=0.01 * 1852 / 3600),
    "water_temp_c": Sense(step=0.1),
}  # as the sentences round


def electric(outing: Outing) -> dict[str, Sense]:
    """The channels that come over the CAN bus, each with its sense."""
    i = outing.boat.instruments
    senses = {
        "pack_voltage_v": Sense(i.volts_gain, 0.0, 0.006, 0.01),
        "pack_current_a": Sense(i.shunt_gain, i.shunt_offset_a, 0.12, 0.1),
        "pack_soc_frac": Sense(1.0, i.gauge_offset_frac, 0.0, 0.005),
        "pack_temp_c": Sense(1.0, 0.4, 0.1, 1.0),
        "solar_power_w": Sense(1.01, 0.0, 0.8, 1.0),
        "shore_power_w": Sense(0.99, 0.0, 0.6, 1.0),
        "controller_voltage_v": Sense(0.9995, 0.0, 0.03, 0.1),
        "controller_current_a": Sense(0.992, 0.0, 0.25, 0.1),
        "shaft_speed_rps": Sense(1.0, 0.0, 0.03, 1 / 60),
        "motor_torque_nm": Sense(1.03, 0.0, 0.15, 0.1),
        "controller_temp_c": Sense(1.0, 0.0, 0.2, 1.0),
        "motor_temp_c": Sense(1.0, 1.0, 0.2, 1.0),
        "controller_fault_code": Sense(),
        "ambient_temp_c": Sense(1.0, i.probe_offset_c[-1], 0.06, 0.1),
    }
    cells = outing.cell_v.shape[1]
    error: Floats = np.random.default_rng(cells * 7919).normal(0.0, 0.0006, (cells,))
    for c in range(cells):
        senses[f"cell_{c + 1:02d}_voltage_v"] = Sense(1.0, float(error[c]), 0.0006, 0.001)
    for k, name in enumerate(PROBES):
        offset = i.probe_offset_c[k % len(i.probe_offset_c)]
        senses[f"probe_{name}_temp_c"] = Sense(1.0, offset, 0.06, 0.1)
    return senses


def truth(outing: Outing) -> dict[str, Floats]:
    """The true value behind each channel of `electric`, shape (n,) each."""
    s, m = outing.series, outing.motion
    true = {
        "pack_voltage_v": s["pack_v"],
        "pack_current_a": s["pack_a"],
        "pack_soc_frac": np.clip(outing.cell_soc.mean(axis=1), 0, 1),
        "pack_temp_c": outing.cell_temp_c.mean(axis=1),
        "solar_power_w": s["solar_w"],
        "shore_power_w": s["shore_w"],
        "controller_voltage_v": s["controller_v"],
        "controller_current_a": s["controller_a"],
        "shaft_speed_rps": m.shaft_rps,
        "motor_torque_nm": m.torque_nm / outing.boat.drive.gear,
        "controller_temp_c": s["controller_c"],
        "motor_temp_c": s["motor_c"],
        "controller_fault_code": np.zeros(outing.n),
        "ambient_temp_c": s["ambient_c"],
    }
    for c in range(outing.cell_v.shape[1]):
        true[f"cell_{c + 1:02d}_voltage_v"] = outing.cell_v[:, c]
    for k, name in enumerate(PROBES[: outing.lug_c.shape[1]]):
        true[f"probe_{name}_temp_c"] = outing.lug_c[:, k]
    return true


def navigation(
    outing: Outing, place: Place, rng: np.random.Generator, gap: tuple[int, int] | None
) -> dict[str, Floats]:
    """What GPS, compass, paddle wheel and water thermometer say, each step, unrounded.

    gap: steps without a GPS fix; its channels are NaN there.
    """
    m, i = outing.motion, outing.boat.instruments
    n, dt = outing.n, m.dt_s
    east = m.east_m + 1.3 * wander(rng, n, dt, 90.0)
    north = m.north_m + 1.5 * wander(rng, n, dt, 90.0)
    lat, lon = offset_position(place.latitude_deg, place.longitude_deg, east, north)
    ve, vn = _lag(m.east_mps), _lag(m.north_mps)
    ve = ve + 0.03 * wander(rng, n, dt, 4.0)
    vn = vn + 0.03 * wander(rng, n, dt, 4.0)
    heading = m.heading_deg
    swing = i.deviation_deg * np.sin(np.radians(heading + 40.0)) + i.compass_offset_deg
    magnetic = heading - place.variation_deg + swing + 0.4 * rng.standard_normal(n)
    wheel = m.speed_water_mps * i.paddle_gain
    water = np.maximum(wheel + 0.035 * rng.standard_normal(n), 0.0)
    water = np.where(wheel < 0.25, 0.0, water)  # the wheel sticks
    out = {
        "latitude_deg": lat,
        "longitude_deg": lon,
        "speed_ground_mps": np.hypot(ve, vn),
        "course_ground_deg": np.degrees(np.arctan2(ve, vn)) % 360,
        "heading_magnetic_deg": magnetic % 360,
        "speed_water_mps": water,
        "water_temp_c": outing.boat.water.temp_c + 0.15 * wander(rng, n, dt, 900.0),
    }
    if gap is not None:
        for name in ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg"):
            out[name][gap[0] : gap[1]] = math.nan
    return out


def wind(outing: Outing, rng: np.random.Generator) -> dict[str, Floats]:
    """What a masthead sensor says: apparent wind, its angle clockwise off the bow."""
    ahead, aside = outing.motion.wind_ahead_mps, outing.motion.wind_aside_mps
    angle = np.degrees(np.arctan2(aside, ahead)) + 3.0 * rng.standard_normal(outing.n)
    speed = np.hypot(ahead, aside) * 1.03 + 0.2 * rng.standard_normal(outing.n)
    return {
        "wind_speed_apparent_mps": np.maximum(speed, 0.0),
        "wind_angle_apparent_deg": angle % 360,
    }


def _lag(values: Floats, keep: float = 0.45) -> Floats:
    """A receiver's smoothing: one-pole, one step."""
    out = np.empty_like(values)
    state = float(values[0])
    for k, v in enumerate(values.tolist()):
        state = keep * state + (1 - keep) * v
        out[k] = state
    return out
