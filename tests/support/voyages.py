"""Invented voyages whose physics shares nothing with the analyzer: for tests only.

Battery: `voyage_pack.py`. Hull: measured towing-tank resistance (shared open data) scaled to
a random size, with keel, growth and loading. Propeller: straight thrust and torque lines; motor:
standby, iron and copper losses. Water: a rotating tidal stream with eddies. Air: wind with gusts,
waves that grow with it. Instruments: offsets, gains, noise, dropouts. All sizes are invented.
"""

import csv
import math
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Series
from logger.boat import Boat

Floats = npt.NDArray[np.float64]

G, RHO, NU = 9.81, 1026.0, 1.19e-6
STEP_S = 2.0
TIDE_S = 44_714.0  # twelve hours twenty-five minutes


@dataclass(frozen=True)
class Data:
    """What the shared open data give."""

    tank: list[dict[str, float]]
    ocv: list[tuple[Floats, Floats, Floats]]  # soc, mean voltage, half gap


def read_data(folder: Path) -> Data:
    """Towing-tank rows and two measured LFP curves."""
    with (folder / "yacht_towing_tank" / "resistance.csv").open(newline="") as file:
        tank = [{k: float(v) for k, v in row.items()} for row in csv.DictReader(file)]
    first = np.genfromtxt(
        folder / "lfp_1200mah_hysteresis" / "ocv_curves.csv", delimiter=",", skip_header=1
    )
    second = np.genfromtxt(
        folder / "lfp_3500mah_excitation" / "ocv_curve.csv", delimiter=",", skip_header=1
    )
    return Data(
        tank,
        [
            (first[:, 0] / 100, first[:, 3], (first[:, 2] - first[:, 1]) / 2),
            (second[:, 0], second[:, 1], second[:, 2]),
        ],
    )


def wander(rng: np.random.Generator, n: int, step_s: float, memory_s: float) -> Floats:
    """A smooth random line of unit spread that forgets in `memory_s`, shape (n,)."""
    knots = max(int(n * step_s / memory_s) + 4, 5)
    line = np.interp(np.arange(n) * step_s / memory_s, np.arange(knots), rng.standard_normal(knots))
    return np.asarray(line / 0.82)


@dataclass(frozen=True)
class Hull:
    """Calm-water resistance of a random boat after a hull of the towing tank."""

    length_m: float
    mass_kg: float
    wetted_m2: float
    rough: float  # friction over the smooth line's
    froude: Floats
    share: Floats  # residuary over weight
    beam_m: float
    draught_m: float
    windage_m2: float
    prismatic: float

    def resistance_n(self, v: Floats) -> Floats:
        """At speeds >= 0."""
        v = np.maximum(v, 0.01)
        fn = v / math.sqrt(G * self.length_m)
        log_f = np.log(fn)
        line = np.interp(log_f, np.log(self.froude), np.log(self.share))
        line += 4.2 * np.minimum(log_f - math.log(self.froude[0]), 0)
        line += 5.0 * np.maximum(log_f - math.log(self.froude[-1]), 0)
        cf = 0.075 / (np.log10(np.maximum(0.7 * v * self.length_m / NU, 1e4)) - 2) ** 2
        return np.asarray(
            0.5 * RHO * v**2 * self.wetted_m2 * cf * self.rough + np.exp(line) * self.mass_kg * G
        )


def random_hull(data: Data, rng: np.random.Generator) -> Hull:
    """One tank hull at a random length, loaded and used."""
    number = rng.choice(sorted({row["hull"] for row in data.tank}))
    rows = [row for row in data.tank if row["hull"] == number]
    length = rng.uniform(6.0, 10.5)
    volume = (length / rows[0]["length_displacement"]) ** 3
    beam = length / rows[0]["length_beam"]
    draught = beam / rows[0]["beam_draught"]
    midship = volume / (rows[0]["prismatic_coefficient"] * length * beam * draught)
    body = (
        (1.97 + 0.171 * beam / draught) * (0.65 / midship) ** (1 / 3) * math.sqrt(volume * length)
    )
    return Hull(
        length_m=length,
        mass_kg=volume * RHO * rng.uniform(1.0, 1.1),
        wetted_m2=body * rng.uniform(1.12, 1.35),
        rough=rng.uniform(1.0, 1.35),
        froude=np.array([row["froude_number"] for row in rows]),
        share=np.array([row["residuary_resistance_per_mille"] for row in rows]) / 1000,
        beam_m=beam,
        draught_m=draught * rng.uniform(2.0, 3.0),
        windage_m2=0.45 * beam**2 * rng.uniform(0.8, 1.3),
        prismatic=rows[0]["prismatic_coefficient"],
    )


@dataclass(frozen=True)
class Drive:
    """Propeller and motor. KT = kt (1 - J / j0), KQ = kq (1 - J / j1)."""

    diameter_m: float
    kt: float
    kq: float
    j0: float
    j1: float
    wake: float
    deduction: float
    standby_w: float
    iron_w_s: float
    copper: float
    passing: float

    def thrust_n(self, n: Floats, v: Floats) -> Floats:
        """Push on the hull."""
        j = v * (1 - self.wake) / (np.maximum(n, 0.1) * self.diameter_m)
        line = self.kt * (1 - j / self.j0)
        return np.asarray(RHO * n**2 * self.diameter_m**4 * line * (1 - self.deduction))

    def input_w(self, n: Floats, v: Floats) -> Floats:
        """Power at the controller."""
        j = v * (1 - self.wake) / (np.maximum(n, 0.1) * self.diameter_m)
        torque = RHO * n**2 * self.diameter_m**5 * np.maximum(self.kq * (1 - j / self.j1), 0.0)
        shaft = 2 * np.pi * n * torque
        return np.asarray(
            self.standby_w + self.iron_w_s * n + self.copper * torque**2 + shaft / self.passing
        )


def random_drive(hull: Hull, rng: np.random.Generator) -> Drive:
    """A propeller that suits the boat more or less."""
    diameter = 0.042 * hull.length_m * rng.uniform(0.85, 1.15)
    pitch_ratio = rng.uniform(0.55, 0.85)
    j0 = pitch_ratio * rng.uniform(1.02, 1.12)
    kt = 0.30 * pitch_ratio / 0.6 * rng.uniform(0.9, 1.1)
    best = rng.uniform(0.42, 0.66)  # peak open-water efficiency, at about 0.75 j0
    j1 = j0 * rng.uniform(1.10, 1.18)
    j = 0.75 * j0
    kq = j / (2 * np.pi) * kt * (1 - j / j0) / (1 - j / j1) / best
    return Drive(
        diameter, kt, kq, j0, j1, rng.uniform(0.03, 0.12), rng.uniform(0.04, 0.12),
        rng.uniform(10, 45), rng.uniform(1.0, 4.0), rng.uniform(0.02, 0.08),
        rng.uniform(0.80, 0.93),
    )  # fmt: skip


@dataclass(frozen=True)
class Place:
    """The day's water and air."""

    stream_mps: float
    across_mps: float
    axis_deg: float
    phase: float
    steady: tuple[float, float]
    eddy_mps: float
    wind_mps: float
    wind_from_deg: float
    sea: float  # waves' part of calm resistance, head on

    def stream(self, t: Floats, eddies: Floats) -> tuple[Floats, Floats]:
        """East and north."""
        w = 2 * np.pi * t / TIDE_S + self.phase
        along, across = self.stream_mps * np.cos(w), self.across_mps * np.sin(w)
        a = math.radians(self.axis_deg)
        east = along * math.sin(a) + across * math.cos(a) + self.steady[0]
        north = along * math.cos(a) - across * math.sin(a) + self.steady[1]
        return east + self.eddy_mps * eddies[0], north + self.eddy_mps * eddies[1]


def random_place(rng: np.random.Generator) -> Place:
    """From a lake to a sound with a strong tide."""
    strong = rng.choice([0.05, 0.25, 0.5]) * rng.uniform(0.6, 1.4)
    wind = min(rng.weibull(2.0) * 4.5, 9.0)
    return Place(
        stream_mps=strong,
        across_mps=strong * rng.uniform(-0.5, 0.5),
        axis_deg=rng.uniform(0, 360),
        phase=rng.uniform(0, 2 * np.pi),
        steady=tuple(0.08 * rng.standard_normal(2)),
        eddy_mps=0.04 + 0.08 * strong,
        wind_mps=wind,
        wind_from_deg=rng.uniform(0, 360),
        sea=0.004 * wind**2 * rng.uniform(0.3, 1.2),
    )


@dataclass(frozen=True)
class Leg:
    """A stretch on one course. turns_rps 0: sailing; help_frac: sails' part of the push."""

    duration_s: float
    course_deg: float
    turns_rps: float
    help_frac: float = 0.0


@dataclass
class Track:
    """What happened, at STEP_S, shape (n,) each."""

    t: Floats
    leg: npt.NDArray[np.int64]
    water: Floats
    heading: Floats
    east: Floats
    north: Floats
    turns: Floats
    motor_w: Floats


@dataclass
class Craft:
    """One boat with all its secrets, and what its owner wrote into boat.toml."""

    data: Data
    rng: np.random.Generator
    hull: Hull = field(init=False)
    drive: Drive = field(init=False)

    def __post_init__(self) -> None:
        r = self.rng
        self.hull = random_hull(self.data, r)
        self.drive = random_drive(self.hull, r)
        self.cells = 16
        self.rated_ah = float(round(r.uniform(120, 300), -1))
        # new packs hold a little more than their label, packs of some years a good deal less
        self.true_ah = self.rated_ah * float(np.clip(0.98 + 0.05 * r.standard_normal(), 0.8, 1.1))
        self.curve = self.data.ocv[r.integers(len(self.data.ocv))]
        scale = 1 / self.true_ah
        self.r0, self.r1, self.r2 = (
            scale * r.uniform(*x) for x in ((0.04, 0.08), (0.01, 0.04), (0.02, 0.05))
        )
        self.tau1, self.tau2 = r.uniform(15, 40), r.uniform(300, 900)
        self.temp_c = r.uniform(8, 28)
        self.hotel_w = r.uniform(20, 120)
        self.cable_ohm = r.uniform(0.001, 0.004)
        # a class 0.5 shunt of some hundred amperes and its amplifier
        self.shunt_gain, self.shunt_off = 1 + 0.005 * r.standard_normal(), 0.4 * r.standard_normal()
        self.volts_gain = 1 + 0.001 * r.standard_normal()
        self.compass_off = 2.0 * r.standard_normal()
        self.has_compass = bool(r.random() < 0.8)
        self.has_log = bool(r.random() < 0.4)
        self.log_gain = 1 + 0.05 * r.standard_normal()
        self.drag_factor = 0.5 * 1.225 * r.uniform(0.75, 1.0) * self.hull.windage_m2

    @cached_property
    def boat(self) -> Boat:
        """What the owner knows: the hull to within ten per cent, the pack as on its label."""
        h, r = self.hull, self.rng
        return Boat(
            name="invented",
            hull={
                "waterline_m": h.length_m,
                "beam_waterline_m": h.beam_m * r.uniform(0.97, 1.05),
                "draught_m": h.draught_m,
                "displacement_kg": h.mass_kg * r.uniform(0.9, 1.1),
            },
            pack={
                "chemistry": "lfp",
                "cells_in_series": self.cells,
                "rated_capacity_ah": self.rated_ah,
                "cell_full_v": 3.5,
            },
            motor={"rated_power_w": 10_000.0, "cutback_v": 42.0},
            hotel={"power_w": self.hotel_w * r.uniform(0.7, 1.3)},
            cable=[{"name": "positive", "size_mm2": 50.0, "length_m": 2.0}],
        )

    def speed_table(self, turns: float) -> tuple[Floats, Floats]:
        """Speeds and the force left over at each, falling."""
        v = np.linspace(0.0, 5.5, 1101)
        spare = self.drive.thrust_n(np.full_like(v, turns), v) - self.hull.resistance_n(v)
        return v, np.minimum.accumulate(spare)

    def speed_for(self, turns: float, force_n: Floats) -> Floats:
        """Steady speed at a shaft speed against extra forces."""
        v, spare = self.speed_table(turns)
        return np.interp(-force_n, -spare[::1], v)

    def turns_for(self, speed: float, force_n: float = 0.0) -> float:
        """Shaft speed that holds a speed against an extra force."""
        low, high = 0.5, 60.0
        for _ in range(40):
            mid = (low + high) / 2
            v = float(self.speed_for(mid, np.array([force_n]))[0])
            low, high = (mid, high) if v < speed else (low, mid)
        return high

    def weather_n(self, place: Place, heading_deg: float, v: float) -> float:
        """Mean force of wind and waves on a heading."""
        off = math.radians(place.wind_from_deg - heading_deg)
        ahead = place.wind_mps * math.cos(off) + v
        waves = (
            place.sea * max(math.cos(off), -0.1) * float(self.hull.resistance_n(np.array([v]))[0])
        )
        return self.drag_factor * ahead * abs(ahead) + waves

    def sail(self, legs: list[Leg], place: Place, t0: float = 0.0) -> Track:
        """Runs the legs; the course over the ground is held against the stream."""
        r = self.rng
        counts = [max(int(leg.duration_s / STEP_S), 1) for leg in legs]
        n = sum(counts)
        t = t0 + np.arange(n) * STEP_S
        which = np.repeat(np.arange(len(legs)), counts)
        eddies = np.stack([wander(r, n, STEP_S, 1500.0) for _ in range(2)])
        ce, cn = place.stream(t, eddies)
        gust = 1 + 0.15 * wander(r, n, STEP_S, 30.0) + 0.08 * wander(r, n, STEP_S, 900.0)
        wave = 1 + 0.4 * wander(r, n, STEP_S, 20.0)
        course = np.array([leg.course_deg for leg in legs])[which]
        turns = np.array([leg.turns_rps for leg in legs])[which]
        helped = np.array([leg.help_frac for leg in legs])[which]
        water = np.zeros(n)
        for k, leg in enumerate(legs):
            mine = which == k
            v0 = float(self.speed_for(max(leg.turns_rps, 1.0), np.zeros(1))[0])
            off = np.radians(place.wind_from_deg - course[mine])
            ahead = place.wind_mps * gust[mine] * np.cos(off) + v0
            calm = float(self.hull.resistance_n(np.array([v0]))[0])
            force = self.drag_factor * ahead * np.abs(ahead)
            force += place.sea * wave[mine] * np.maximum(np.cos(off), -0.1) * calm
            force -= helped[mine] * calm
            if leg.turns_rps > 0:
                water[mine] = self.speed_for(leg.turns_rps, force)
            else:
                water[mine] = 2.2 * (1 + 0.1 * wander(r, int(mine.sum()), STEP_S, 60.0))
        keep = math.exp(-STEP_S / 20.0)
        for i in range(1, n):  # the boat's mass takes time
            water[i] = keep * water[i - 1] + (1 - keep) * water[i]
        c = np.radians(course)
        across = ce * np.cos(c) - cn * np.sin(c)
        lean = np.arcsin(np.clip(across / np.maximum(water, 0.3), -0.9, 0.9))
        heading = c - lean
        shaft = np.where(turns > 0, turns, 0.0)
        motor = np.where(turns > 0, self.drive.input_w(np.maximum(shaft, 0.1), water), 0.0)
        return Track(
            t, which, water, np.degrees(heading) % 360,
            water * np.sin(heading) + ce, water * np.cos(heading) + cn, shaft, motor,
        )  # fmt: skip


def measured(craft: Craft, track: Track, current: Floats, volts: Floats, t0_s: float) -> Series:
    """What the instruments made of it, with noise and dropouts."""
    r, n = craft.rng, min(len(track.t), len(current))
    east = track.east[:n] + 0.06 * wander(r, n, STEP_S, 4.0)
    north = track.north[:n] + 0.06 * wander(r, n, STEP_S, 4.0)
    yaw = 2.5 * wander(r, n, STEP_S, 5.0)
    values = {
        "pack_voltage_v": craft.cells * volts[:n] * craft.volts_gain + 0.01 * r.standard_normal(n),
        "pack_current_a": current[:n] * craft.shunt_gain
        + craft.shunt_off
        + 0.1 * r.standard_normal(n),
        "pack_temp_c": np.full(n, craft.temp_c) + 0.3 * r.standard_normal(n),
        "speed_ground_mps": np.hypot(east, north),
        "course_ground_deg": np.degrees(np.arctan2(east, north)) % 360,
        "shaft_speed_rps": np.round(track.turns[:n], 2),
    }
    if craft.has_compass:
        values["heading_true_deg"] = (track.heading[:n] + yaw + craft.compass_off) % 360
    if craft.has_log:
        values["speed_water_mps"] = track.water[:n] * craft.log_gain + 0.05 * r.standard_normal(n)
    for _ in range(max(int(n * STEP_S / 3600), 1)):  # a source is silent now and then
        name = list(values)[r.integers(3, len(values))]
        at = r.integers(0, n)
        values[name][at : at + int(r.uniform(5, 90) / STEP_S)] = np.nan
    return Series(round(t0_s * 1e6), STEP_S, n, values)


def joined(parts: list[Series]) -> Series:
    """Stretches one after another as one series; silence where a channel is not in a part."""
    names = dict.fromkeys(name for part in parts for name in part.values)
    values = {name: np.concatenate([part.get(name) for part in parts]) for name in names}
    return Series(parts[0].t0_us, STEP_S, sum(part.n for part in parts), values)
