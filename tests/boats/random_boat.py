"""Invented boats by number: hull, pack, drive, cables, faults and sensor errors drawn at random.

The ranges are common practice for electrified cruising yachts of 6 to 11 m on the waterline, no
source; within them every figure is drawn independently of what an analyzer may believe.
"""

import math

import numpy as np

from replay.boatsim.boat import Faults, Instruments, SimBoat
from replay.boatsim.physics.battery import Cells, Window
from replay.boatsim.physics.drive import Drive, input_w, torque_nm, turns_for
from replay.boatsim.physics.heat import Run
from replay.boatsim.physics.hull import GRAVITY_MPS2, Hull, Water, resistance_n

Rng = np.random.Generator
SIZES_MM2 = (16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 240.0)
CELL_V = 3.25


def random_water(rng: Rng) -> Water:
    temp_c = float(rng.uniform(4, 26))
    # Sea water between 4 and 26 °C, straight lines through the ITTC values at 5 and 25 °C.
    viscosity = 1.56e-6 + (temp_c - 5) / 20 * (0.937e-6 - 1.56e-6)
    return Water(temp_c, 1027.7 + (temp_c - 5) / 20 * (1023.3 - 1027.7), viscosity)


def _hull(rng: Rng) -> Hull:
    length = float(rng.uniform(5.8, 10.8))
    volume = (length / float(rng.uniform(4.4, 5.7))) ** 3
    beam = length / float(rng.uniform(2.9, 3.5))
    prismatic = float(rng.uniform(0.535, 0.59))
    draught = volume / (prismatic * float(rng.uniform(0.66, 0.76)) * length * beam)
    # Wetted area of the canoe body by the Delft series' formula, with a mid-section of 0.7.
    wetted = (1.97 + 0.171 * beam / draught) * (0.65 / 0.70) ** (1 / 3) * math.sqrt(volume * length)
    long_keel = bool(rng.random() < 0.3)
    level, tilt = float(rng.normal(0, 0.10)), float(rng.normal(0, 0.07))
    wave = np.exp(level + tilt * np.linspace(-1, 1, 6) + rng.normal(0, 0.03, 6))
    return Hull(
        waterline_m=length,
        beam_m=beam,
        body_draught_m=draught,
        draught_m=draught + float(rng.uniform(0.6, 1.2)),
        volume_m3=volume,
        prismatic=prismatic,
        waterplane_m2=0.68 * length * beam,
        wetted_m2=wetted * float(rng.normal(1, 0.02)),
        keel_wetted_m2=wetted
        * float(rng.uniform(0.4, 0.5) if long_keel else rng.uniform(0.2, 0.35)),
        keel_chord_m=length * float(rng.uniform(0.4, 0.6) if long_keel else rng.uniform(0.1, 0.2)),
        lcb_frac=float(rng.uniform(0.52, 0.545)),
        lcf_frac=float(rng.uniform(0.545, 0.57)),
        rough_frac=float(rng.uniform(0.0, 0.35)),
        residuary_factor=tuple(wave.tolist()),
        windage_m2=(1.2 + 0.42 * length) * float(rng.uniform(0.7, 1.3)),
        mass_kg=volume * 1025.0,
    )


def fitted_drive(rng: Rng, hull: Hull, water: Water, froude: float = 0.36) -> Drive:
    """A propeller fitted for a Froude number, and a motor that turns it."""
    ratio = float(rng.uniform(0.6, 0.95))
    speed = froude * math.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    need = float(resistance_n(hull, np.array([speed]), water)[0]) * 1.15
    wake, loss = float(rng.uniform(0.06, 0.18)), float(rng.uniform(0.08, 0.17))
    kt_0 = (0.07 + 0.33 * ratio) * float(rng.normal(1, 0.04))
    no_thrust = ratio * float(rng.uniform(1.08, 1.16))
    advance = no_thrust * float(rng.uniform(0.40, 0.52))
    push = kt_0 * (1 - advance / no_thrust)
    inflow = speed * (1 - wake)
    diameter = math.sqrt(need / (1 - loss) * advance**2 / (water.density_kg_m3 * inflow**2 * push))
    kq_0 = (0.013 + 0.032 * ratio) * float(rng.normal(1, 0.06))
    no_torque = no_thrust * float(rng.uniform(1.04, 1.08))
    turns = inflow / (advance * diameter)
    torque = water.density_kg_m3 * turns**2 * diameter**5 * kq_0 * (1 - advance / no_torque)
    shaft_w = 2 * math.pi * turns * torque
    gear = float(rng.choice([1.0, 1.8, 2.2, 2.6, 3.1]))
    return Drive(
        diameter_m=diameter,
        pitch_m=diameter * ratio,
        blades=int(rng.choice([2, 3])),
        kt_0=kt_0,
        kt_slope=kt_0 / no_thrust,
        kq_0=kq_0,
        kq_slope=kq_0 / no_torque,
        wake_frac=wake,
        thrust_loss_frac=loss,
        gear=gear,
        belt_frac=0.0 if gear == 1.0 else float(rng.uniform(0.015, 0.04)),
        standby_w=float(rng.uniform(6, 25)),
        iron_w_per_rps=float(rng.uniform(0.015, 0.04)) * shaft_w / (turns * gear),
        copper_w_per_nm2=float(rng.uniform(0.04, 0.09)) * shaft_w / (torque / gear) ** 2,
        switching_frac=float(rng.uniform(0.015, 0.035)),
        rated_power_w=round(shaft_w * float(rng.uniform(1.15, 1.6)), -2),
    )


def drive_input_w(hull: Hull, water: Water, drive: Drive, speed_mps: float) -> float:
    """Power at the controller for a speed in a calm without wind. [W]"""
    need = float(resistance_n(hull, np.array([speed_mps]), water)[0])
    turns = turns_for(drive, speed_mps, need, water.density_kg_m3)
    return input_w(drive, turns, torque_nm(drive, turns, speed_mps, water.density_kg_m3))


def _cells(rng: Rng, number: int, rated_ah: float) -> Cells:
    true_ah = rated_ah * float(np.clip(rng.normal(0.98, 0.025), 0.9, 1.05))

    def each(mean: float, spread: float) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
        return mean * (1 + spread * rng.standard_normal(number))

    ohm_ah = 0.095 * float(np.exp(rng.normal(0, 0.2)))
    return Cells(
        capacity_ah=each(true_ah, 0.006),
        r_ohm=each(ohm_ah / rated_ah, 0.04),
        r1_ohm=each(ohm_ah / rated_ah * float(rng.uniform(0.35, 0.7)), 0.04),
        r2_ohm=each(ohm_ah / rated_ah * float(rng.uniform(0.5, 0.9)), 0.05),
        window=Window(
            float(rng.uniform(0.0075, 0.0125)),
            float(rng.uniform(0.765, 0.80)),
            float(rng.uniform(0.945, 0.958)),
            float(rng.uniform(0.025, 0.035)),
        ),
        tau1_s=float(rng.uniform(12, 45)),
        tau2_s=float(rng.uniform(300, 1200)),
        hysteresis_v=float(rng.uniform(0.005, 0.012)),
        arrhenius_k=float(rng.uniform(28000, 38000)) / 8.314,
        warm_frac=float(rng.uniform(0.4, 0.75)),
        heat_j_k=20.0 * rated_ah,
        loss_w_k=0.045 * rated_ah ** (2 / 3),
        link_ohm=float(rng.uniform(0.03, 0.08)) * number / 1000 * 100 / rated_ah,
    )


def fitted_runs(rng: Rng, current_a: float) -> tuple[Run, ...]:
    wanted = current_a / float(rng.uniform(2.2, 3.4))
    size = next((s for s in SIZES_MM2 if s >= wanted), SIZES_MM2[-1])
    small = size / 35.0

    def lug() -> float:
        return float(rng.uniform(15e-6, 40e-6)) / small

    return (
        Run("battery_positive", size, float(rng.uniform(0.6, 2.5)), lug(), lug_j_k=75 * small),
        Run("battery_negative", size, float(rng.uniform(0.6, 2.5)), lug(), lug_j_k=75 * small),
        Run("contactor", size, float(rng.uniform(0.4, 1.0)),
            float(rng.uniform(0.1e-3, 0.2e-3)) / small, float(rng.uniform(0.3, 1.5)),
            190 * small, 0.07, 0.11 * math.sqrt(small)),
        Run("controller_positive", size, float(rng.uniform(0.4, 2.0)), lug(), lug_j_k=75 * small),
    )  # fmt: skip


def random_instruments(rng: Rng) -> Instruments:
    return Instruments(
        shunt_offset_a=float(rng.normal(0, 0.15)),
        shunt_gain=float(rng.normal(1, 0.004)),
        volts_gain=float(rng.normal(1, 0.0007)),
        paddle_gain=float(rng.normal(1, 0.05)),
        compass_offset_deg=float(rng.normal(0, 1.5)),
        deviation_deg=abs(float(rng.normal(0, 1.5))),
        probe_offset_c=tuple(rng.normal(0, 0.3, 5).tolist()),
        gauge_offset_frac=float(rng.normal(0, 0.03)),
    )


def random_faults(rng: Rng, cells: int, after_s: float, current_a: float) -> Faults:
    """One of: nothing (half of all), a weak, small or low cell, a lug that loosens.

    after_s: when the lug begins. current_a: typical; a lug makes 2 to 6 W at it in the end.
    """
    kind = str(rng.choice(["none"] * 4 + ["weak", "small", "low", "loose"]))
    cell = int(rng.integers(1, cells + 1))
    if kind == "weak":
        return Faults(weak_cell=cell, weak_factor=float(rng.uniform(1.3, 1.9)))
    if kind == "small":
        return Faults(small_cell=cell, small_factor=float(rng.uniform(0.85, 0.95)))
    if kind == "low":
        return Faults(low_cell=cell, low_frac=float(rng.uniform(0.03, 0.08)))
    if kind == "loose":
        ohm = float(rng.uniform(2, 6)) / max(current_a, 10.0) ** 2
        end_s = after_s + float(rng.uniform(1500, 4500))
        return Faults(loose_run=int(rng.choice([0, 1, 3])), loose_from_s=after_s,
                      loose_to_s=end_s, loose_ohm=ohm)  # fmt: skip
    return Faults()


def random_boat(seed: int) -> SimBoat:
    """The sound boat of that number; the same number is always the same boat."""
    rng = np.random.default_rng([seed, 20])
    water, hull = random_water(rng), _hull(rng)
    drive = fitted_drive(rng, hull, water)
    cruise = 0.31 * math.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    cruise_w = drive_input_w(hull, water, drive, cruise)
    number = 8 if drive.rated_power_w < 2500 else 16 if drive.rated_power_w < 14000 else 24
    number = 15 if number == 16 and rng.random() < 0.2 else number
    volts = number * CELL_V
    rated_ah = round(cruise_w * float(rng.uniform(2.2, 5.0)) / volts)
    return SimBoat(
        name=f"boat {seed} (invented)",
        hull=hull,
        water=water,
        drive=drive,
        cells=_cells(rng, number, rated_ah),
        runs=fitted_runs(rng, drive.rated_power_w * 1.15 / volts),
        rated_ah=rated_ah,
        cutoff_v=float(rng.choice([2.5, 2.6, 2.8])),
        cutback_v=round(number * float(rng.uniform(2.7, 2.95)), 1),
        reserve_frac=float(rng.choice([0.2, 0.2, 0.2, 0.2, 0.1])),
        hotel_w=float(rng.uniform(15, 70)),
        pilot_w=float(rng.uniform(5, 30)),
        fridge_w=float(rng.choice([0.0, 35.0, 50.0])),
        solar_peak_w=float(rng.choice([0.0, 110.0, 200.0, 320.0, 450.0])),
        instruments=random_instruments(rng),
        charge_spread=float(rng.uniform(0.001, 0.006)),
    )
