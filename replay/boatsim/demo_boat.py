"""The shipped demo's boat, place and day. Every figure is invented."""

import numpy as np

from replay.boatsim.boat import Faults, Instruments, SimBoat
from replay.boatsim.physics.battery import Cells, Window
from replay.boatsim.physics.drive import Drive
from replay.boatsim.physics.heat import Run
from replay.boatsim.physics.hull import Hull, Water
from replay.boatsim.physics.place import Place, Sky, Stream, Wind, stream_through
from replay.boatsim.scene import Doing, Leg, Scene, Shore

KN = 1852 / 3600  # by definition
# The invented day and place, all assumed.
START_UTC_S = 1778922000.0  # 2026-05-16 09:00:00 UTC
LATITUDE_DEG, LONGITUDE_DEG = 46.2815, -23.8740  # open ocean: the harbour there is invented
VARIATION_DEG = -6.4
WARM_UP_S = 2700.0
PLACE = Place(LATITUDE_DEG, LONGITUDE_DEG, VARIATION_DEG)
GPS_GAP = (4110, 4172)  # steps without a fix
BUS_HOLES = [(2240.0, 2244.5)]  # seconds without a single CAN frame


def _cells() -> Cells:
    rng = np.random.default_rng(20260516)
    n = 16
    return Cells(
        capacity_ah=148.0 * 0.975 * (1 + 0.005 * rng.standard_normal(n)),
        r_ohm=0.64e-3 * (1 + 0.04 * rng.standard_normal(n)),
        r1_ohm=0.35e-3 * (1 + 0.04 * rng.standard_normal(n)),
        r2_ohm=0.48e-3 * (1 + 0.05 * rng.standard_normal(n)),
        window=Window(0.0105, 0.785, 0.952, 0.028),
        tau1_s=24.0,
        tau2_s=610.0,
        hysteresis_v=0.009,
        arrhenius_k=33800 / 8.314,
        warm_frac=0.6,
        heat_j_k=2950.0,
        loss_w_k=0.55,
        link_ohm=0.75e-3,
    )


def _drive() -> Drive:
    return Drive(
        diameter_m=0.352, pitch_m=0.246, blades=3, kt_0=0.298, kt_slope=0.372, kq_0=0.0365,
        kq_slope=0.0432, wake_frac=0.11, thrust_loss_frac=0.13, gear=2.27, belt_frac=0.025,
        standby_w=14.0, iron_w_per_rps=1.9, copper_w_per_nm2=0.75, switching_frac=0.022,
        rated_power_w=6400.0,
    )  # fmt: skip


def _hull() -> Hull:
    return Hull(
        waterline_m=7.35, beam_m=2.38, body_draught_m=0.46, draught_m=1.37, volume_m3=3.17,
        prismatic=0.556, waterplane_m2=11.9, wetted_m2=14.1, keel_wetted_m2=4.3,
        keel_chord_m=1.05, lcb_frac=0.531, lcf_frac=0.556, rough_frac=0.11,
        residuary_factor=(1.08, 1.05, 1.02, 0.98, 0.95, 0.95), windage_m2=4.4, mass_kg=3250.0,
    )  # fmt: skip


def _faults() -> Faults:
    return Faults(
        weak_cell=11,
        weak_factor=1.52,
        loose_run=1,
        loose_from_s=7500.0,
        loose_to_s=10000.0,
        loose_ohm=0.9e-3,
    )


def demo_boat(*, faults: bool = True) -> SimBoat:
    """The boat, with its weak cell and its loosening lug, or sound."""
    runs = (
        Run("battery_positive", 35.0, 1.15, 26e-6),
        Run("battery_negative", 35.0, 1.65, 24e-6),
        Run("contactor", 35.0, 0.55, 150e-6, fixed_w=1.1, lug_j_k=190.0, air_w_k=0.11),
        Run("controller_positive", 35.0, 0.85, 28e-6),
    )
    boat = SimBoat(
        name="Tern's Ladder (invented)",
        hull=_hull(), water=Water(14.2, 1026.2, 1.212e-6), drive=_drive(), cells=_cells(),
        runs=runs, rated_ah=148.0, cutoff_v=2.6, cutback_v=45.5, reserve_frac=0.2, hotel_w=34.0,
        pilot_w=17.0, fridge_w=46.0, solar_peak_w=290.0,
        instruments=Instruments(
            shunt_offset_a=0.21, shunt_gain=1.004, volts_gain=1.0006, paddle_gain=0.955,
            compass_offset_deg=1.1, deviation_deg=1.8, probe_offset_c=(0.3, -0.2, 0.4, -0.3, 0.1),
            gauge_offset_frac=-0.02,
        ),
        faults=_faults() if faults else Faults(),
    )  # fmt: skip
    return boat


def stream() -> Stream:
    """Setting out of the harbour for the whole outing, turning and slackening."""
    return stream_through((600.0, 10800.0), (0.50, 0.60), (112.0, 131.0))


def _sail(doing: Doing, duration_s: float, sail_kn: float, heading_deg: float) -> Leg:
    return Leg(doing, duration_s, 0.0, heading_deg, sail_kn * KN)


def _motor(duration_s: float, speed_kn: float, heading_deg: float | None) -> Leg:
    # Without a heading: towards a point up the harbour, beyond the berth.
    return Leg("motoring", duration_s, speed_kn * KN, heading_deg, 0.0, -900.0, 100.0)


def plan() -> tuple[Leg, ...]:
    """Out with the stream, a sail, home against it at two speeds."""
    return (
        Leg("shore", 540),
        Leg("lying", 120),
        _motor(240, 2.6, 75.0),
        _motor(200, 3.4, 148.0),
        _motor(420, 4.6, 112.0),
        _motor(360, 5.2, 158.0),
        _motor(420, 5.2, 68.0),
        _motor(300, 4.2, 10.0),
        _motor(420, 5.7, 98.0),
        _motor(420, 4.8, 125.0),
        _sail("sailing", 1500, 5.0, 338.0),
        _sail("sailing", 240, 4.8, 292.0),
        _sail("regenerating", 960, 5.5, 140.0),
        _sail("sailing", 1140, 4.6, 300.0),
        _motor(780, 4.3, 312.0),
        _motor(720, 4.3, 258.0),
        _motor(1800, 5.5, None),
    )


def demo_scene() -> Scene:
    """The day."""
    noon = 12 * 3600 - LONGITUDE_DEG / 15 * 3600 - (START_UTC_S % 86400)
    return Scene(
        legs=plan(), stream=stream(), wind=Wind(4.3, 205.0, 0.16, 3.0),
        sky=Sky(LATITUDE_DEG, 136, noon, 0.62, 0.16, 15.0), rough=0.06, start_soc=0.877,
        shore=Shore(24.0, 56.2), warm_up_s=WARM_UP_S,
        shelter_m=450.0,
    )  # fmt: skip
