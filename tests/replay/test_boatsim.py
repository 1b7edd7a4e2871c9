"""The invented boat's physics against numbers from outside."""

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from replay.boatsim.ahead import ground_speed
from replay.boatsim.boat import Faults
from replay.boatsim.demo_boat import KN, demo_boat
from replay.boatsim.motion import course_made_good
from replay.boatsim.physics.battery import Battery, Window, graphite_v, lfp_v, ocv_v
from replay.boatsim.physics.drive import input_w, regeneration_turns, thrust_n, torque_nm, turns_for
from replay.boatsim.physics.heat import COPPER_OHM_MM2_M, Run, Runs
from replay.boatsim.physics.hull import (
    KS_FROUDE,
    air_drag_n,
    friction_coefficient,
    polynomial_n,
    resistance_n,
)
from replay.boatsim.physics.place import TIDE_S, Sky, stream_through
from tests.boats.random_boat import random_boat


def test_friction_coefficient_is_the_ittc_57_line():
    # ITTC 7.5-02-01-03; and its public test at 1 m/s, 10 m, nu 1.004e-6.
    found = friction_coefficient(np.array([1e6, 1e7, 1e9, 10 / 1.004e-6]))
    assert found == approx([0.0046875, 0.0030000, 0.0015306, 0.00300208153794], rel=2e-5)


def test_polynomial_n_reproduces_the_worked_hull():
    # Keuning and Sonnenberg 1998 coefficients, hull worked by hand in the reference values.
    hull = replace(
        demo_boat().hull, volume_m3=7.63, waterline_m=10.02, beam_m=3.17, waterplane_m2=21.9,
        wetted_m2=25.2, lcb_frac=0.535, lcf_frac=0.565, prismatic=0.56,
    )  # fmt: skip
    found = dict(zip(KS_FROUDE.tolist(), polynomial_n(hull, 1025.0), strict=True))
    assert found[0.20] == approx(32.2, abs=0.05)
    assert found[0.30] == approx(211.0, abs=0.05)
    assert found[0.40] == approx(1358.8, abs=0.05)


def test_resistance_n_never_falls_and_steepens_as_the_towing_tank_says():
    # Delft series hull A at 8 m: local exponent of power 3.2 at Fn 0.15, 5 to 7 from 0.35 to 0.40
    # (reference values, section 3.2); resistance has one less.
    boat = demo_boat()
    speeds = np.linspace(0.2, 4.4, 300)
    found = resistance_n(boat.hull, speeds, boat.water)
    assert (np.diff(found) > 0).all()
    froude = speeds / math.sqrt(9.80665 * boat.hull.waterline_m)
    slope = np.gradient(np.log(found), np.log(speeds))
    assert 1.8 < np.interp(0.15, froude, slope) < 2.6
    assert 3.5 < np.interp(0.38, froude, slope) < 7.0


def test_air_drag_n_is_the_worked_example():
    # 0.5 rho Cd A V2 with 1.225, 0.9, 3 m2, 12 m/s: 238.1 N (reference values, section 3.1).
    assert air_drag_n(replace(demo_boat().hull, windage_m2=3.0), 12.0) == approx(238.1, abs=0.1)


def test_half_cells_give_the_published_voltages():
    # Safari and Delacourt 2011, Table I, worked out in the reference values, section 2.2.
    assert graphite_v(np.array([0.10, 0.30, 0.50, 0.80])) == approx(
        [0.21665, 0.13293, 0.11606, 0.08592], abs=1e-5
    )
    assert lfp_v(np.array([0.05, 0.30, 0.90])) == approx([3.48976, 3.43230, 3.41423], abs=1e-5)
    soc = np.array([0, 5, 10, 20, 50, 80, 90, 100]) / 100
    table = [2.567, 3.071, 3.197, 3.252, 3.309, 3.338, 3.345, 3.520]
    assert ocv_v(soc, Window()) == approx(table, abs=6e-4)


@pytest.mark.parametrize(("temp_c", "factor"), [(-10, 6.13), (0, 3.48), (10, 2.06), (40, 0.520)])
def test_resistance_follows_arrhenius(temp_c, factor):
    # Ea 33.8 kJ/mol against 25 °C (reference values, section 2.3).
    cells = replace(demo_boat().cells, warm_frac=1.0, arrhenius_k=33800 / 8.314462)
    soc = np.full(len(cells.r_ohm), 0.8)
    assert Battery(cells, soc, temp_c).r_ohm / cells.r_ohm == approx(factor, rel=3e-3)


def test_battery_counts_every_coulomb_and_relaxes():
    cells = demo_boat().cells
    battery = Battery(cells, np.full(16, 0.7), 25.0)
    for _ in range(1800):
        battery.source()
        battery.step(50.0, 1.0)
    assert (0.7 - battery.soc) * cells.capacity_ah == approx(25.0)  # 50 A for half an hour
    loaded, _ = battery.source()
    sagged = battery.rest_v - loaded
    for _ in range(5):
        battery.step(0.0, 3600.0)
    rest, _ = battery.source()
    assert (sagged > 0.02).all()
    assert rest == approx(battery.rest_v, abs=1e-6)


def test_hysteresis_gap_lies_between_charge_and_discharge():
    # Gap on the plateau after rest: 5 to 25 mV (reference values, section 2.3).
    cells = demo_boat().cells
    down, up = Battery(cells, np.full(16, 0.7), 25.0), Battery(cells, np.full(16, 0.3), 25.0)
    for _ in range(100):
        down.step(cells.capacity_ah.mean() * 7.2, 1.0)  # 0.2 % each
        up.step(cells.capacity_ah.mean() * -7.2, 1.0)
    up.source()
    down.source()
    assert up.soc.mean() == approx(down.soc.mean(), abs=1e-3)
    assert 0.005 < float((up.rest_v - down.rest_v).mean()) < 0.025


def test_cable_settles_where_copper_with_feedback_should():
    # dT = k I2 (1 + a (Tamb - 20)) / (1 - k I2 a), k from 75 K at the rated current, 30 °C:
    # 15.46 K at half the rating, 37.53 K at three quarters (reference values, section 1.5).
    run = Run("x", 35.0, 5.0, 0.0, post_w_k=0.0, air_w_k=0.0)
    r105 = COPPER_OHM_MM2_M / 35 * (1 + 0.00393 * 85)
    rated_a = math.sqrt(75 / (run.cable_k_m_w * r105))
    for share, rise_k in ((0.5, 15.46), (0.75, 37.53), (1.0, 75.0)):
        runs = Runs((run,), 30.0)
        square = np.array([(share * rated_a) ** 2])
        for _ in range(4000):
            runs.step(square, np.zeros(1), 30.0, np.array([30.0]), 1.0, 10.0)
        assert runs.cable_c[0] - 30 == approx(rise_k, rel=2e-3)


def test_joint_makes_its_heat():
    # 150 A through 200 microohm: 4.5 W (reference values, section 1.5), all into air here.
    run = Run("x", 35.0, 1.0, 0.0, post_w_k=0.0, air_w_k=0.5)
    runs = Runs((run,), 20.0)
    runs._fin_w_k = np.zeros(1)
    for _ in range(4000):
        runs.step(np.array([150.0**2]), np.array([200e-6]), 20.0, np.array([20.0]), 1.0, 1.0)
    assert runs.lug_c[0] - 20 == approx(4.5 / 0.5, rel=1e-3)


@pytest.mark.parametrize("seed", [None, 1, 2, 3, 5, 8, 13, 21])
def test_propeller_stays_below_momentum_theory_and_in_small_craft_range(seed):
    # Froude's ideal efficiency 2/(1+sqrt(1+CT)) bounds any propeller; battery to tow power
    # 0.3 to 0.55 is common for small craft (reference values, section 3.1; a little room here).
    boat = demo_boat() if seed is None else random_boat(seed)
    d, rho = boat.drive, boat.water.density_kg_m3
    for froude in (0.25, 0.30, 0.35):
        v = froude * math.sqrt(9.80665 * boat.hull.waterline_m)
        need = float(resistance_n(boat.hull, np.array([v]), boat.water)[0])
        n = turns_for(d, v, need, rho)
        assert thrust_n(d, n, v, rho) == approx(need)
        torque = torque_nm(d, n, v, rho)
        inflow, thrust = v * (1 - d.wake_frac), need / (1 - d.thrust_loss_frac)
        loading = thrust / (0.5 * rho * math.pi / 4 * d.diameter_m**2 * inflow**2)
        ideal = 2 / (1 + math.sqrt(1 + loading))
        assert thrust * inflow / (2 * math.pi * n * torque) < ideal
        assert 0.25 < need * v / input_w(d, n, torque) < 0.58


def test_regeneration_gives_power_and_brakes():
    boat = demo_boat()
    v = 5.5 * KN
    n = regeneration_turns(boat.drive, v)
    torque = torque_nm(boat.drive, n, v, boat.water.density_kg_m3)
    assert torque < 0
    assert -250 < input_w(boat.drive, n, torque) < -10
    assert thrust_n(boat.drive, n, v, boat.water.density_kg_m3) < 0


@pytest.mark.parametrize(
    ("track", "speed", "set_deg", "drift", "heading", "made"),
    [(75, 10, 30, 2.5, 85.18, 11.61), (90, 5, 210, 2.0, 69.73, 3.69),
     (235, 6.2, 315, 3.5, 201.22, 5.76), (150, 5.3, 50, 3.5, 190.57, 3.42)],
)  # fmt: skip
def test_current_triangle(track, speed, set_deg, drift, heading, made):
    # Navigation textbooks' examples as in the reference values, section 3.6.
    east = drift * math.sin(math.radians(set_deg))
    north = drift * math.cos(math.radians(set_deg))
    assert course_made_good(track, speed, east, north) == approx(heading, abs=0.01)
    found = ground_speed(track, np.array([float(speed)]), east, north)
    assert found[0] == approx(made, abs=0.006)


def test_stream_goes_through_its_two_times_and_returns_after_a_tide():
    stream = stream_through((600.0, 10800.0), (0.5, 0.6), (112.0, 131.0))
    east, north = stream.at(np.array([600.0, 10800.0, 600.0 + TIDE_S]))
    assert np.hypot(east, north) == approx([0.5, 0.6, 0.5])
    assert np.degrees(np.arctan2(east, north)) == approx([112.0, 131.0, 112.0])


def test_sun_stands_at_90_degrees_over_the_equator_at_the_equinox():
    # Day 81: declination zero (Cooper 1969), so noon at the equator is overhead, and six hours
    # later the sun sets.
    sky = Sky(0.0, 81, 0.0)
    assert sky.sun_frac(np.array([0.0, 21600.0, 43200.0])) == approx([1.0, 0.0, 0.0], abs=1e-3)


def test_faults_touch_only_what_they_name():
    cells = demo_boat(faults=False).cells
    worn = Faults(weak_cell=3, weak_factor=1.5, small_cell=4, small_factor=0.9).in_cells(cells)
    assert np.flatnonzero(worn.r_ohm != cells.r_ohm).tolist() == [2]
    assert worn.r_ohm[2] == approx(1.5 * cells.r_ohm[2])
    assert np.flatnonzero(worn.capacity_ah != cells.capacity_ah).tolist() == [3]
    assert Faults(low_cell=2, low_frac=0.05).charge_deficit(4) == approx([0, 0.05, 0, 0])
    lug = Faults(loose_run=1, loose_from_s=100, loose_to_s=200, loose_ohm=1e-3)
    assert [lug.extra_ohm(3, t)[1] for t in (0, 150, 900)] == approx([0, 0.5e-3, 1e-3])
