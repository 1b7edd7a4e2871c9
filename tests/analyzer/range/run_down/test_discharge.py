"""Constant-power run-down against closed forms and a plain step-by-step integration."""

import numpy as np
import pytest

from analyzer.pack.cell_model import chemistry
from analyzer.range.run_down.discharge import (
    LIMITS,
    Limits,
    PackDraws,
    ocv_table,
    run_down,
)

LFP = chemistry("lfp")


def pack(soc=0.8, ohm=0.0004, weak_ohm=0.0, deficit=0.0, ocv=None, n=1, shift=0.0) -> PackDraws:
    one = np.ones(n)
    return PackDraws(
        soc=soc * one,
        capacity_ah=100.0 * one,
        resistance_ohm=ohm * one,
        weak_resistance_ohm=weak_ohm * one,
        weak_deficit_frac=deficit * one,
        shift_v=shift * one,
        cells=16,
        ocv_v=ocv_table(LFP, 25.0) if ocv is None else ocv,
    )


def test_constant_voltage_pack_lasts_energy_over_power():
    # 16 x 3.2 V x 100 Ah x 0.6 = 3072 Wh over 1024 W = 3 h; no resistance
    flat = np.full_like(ocv_table(LFP, 25.0), 3.2)
    run = run_down(
        np.array([[1024.0]]), np.zeros((1, 1)), pack(ohm=1e-9, ocv=flat), Limits(0.2, 2.5)
    )
    assert run.duration_s[0, 0] == pytest.approx(3 * 3600, rel=1e-6)
    assert run.end_soc[0, 0] == pytest.approx(0.2)
    assert LIMITS[run.limit[0, 0]] == "reserve"


def step_by_step(
    power_w: float, p: PackDraws, limits: Limits, motor_w: float
) -> tuple[float, float]:
    """Seconds and end charge by stepping ten seconds at a time and testing every limit."""
    from analyzer.range.run_down.discharge import SOC_GRID

    soc, t = float(p.soc[0]), 0.0
    r, extra, deficit = p.resistance_ohm[0], p.weak_resistance_ohm[0], p.weak_deficit_frac[0]
    while True:
        ocv = np.interp(soc, SOC_GRID, p.ocv_v)
        current = (ocv - np.sqrt(ocv**2 - 4 * r * power_w / p.cells)) / (2 * r)
        weak = np.interp(soc - deficit, SOC_GRID, p.ocv_v) - current * (r + extra)
        pack_v = p.cells * (ocv - current * r) - current * extra
        controller = pack_v - motor_w / pack_v * limits.cable_ohm
        low = limits.controller_v is not None and controller < limits.controller_v
        if soc <= limits.reserve_frac or weak < limits.cell_cutoff_v or low:
            return t, soc
        soc -= current * 10 / 3600 / p.capacity_ah[0]
        t += 10


@pytest.mark.parametrize(
    ("power", "weak_ohm", "deficit", "controller_v", "limit"),
    [
        (1500.0, 0.0, 0.0, None, "reserve"),
        (6000.0, 0.004, 0.0, None, "weakest cell's cut-off"),
        (3000.0, 0.0, 0.17, None, "weakest cell's cut-off"),
        (6000.0, 0.0, 0.0, 49.5, "controller cutback"),
    ],
)
def test_run_down_equals_stepping(power, weak_ohm, deficit, controller_v, limit):
    cells = pack(soc=0.9, weak_ohm=weak_ohm, deficit=deficit)
    limits = Limits(0.05, 2.6, controller_v, 0.004)
    run = run_down(np.array([[power]]), np.zeros((1, 1)), cells, limits)
    seconds, soc = step_by_step(power, cells, limits, power)
    assert LIMITS[run.limit[0, 0]] == limit
    assert run.duration_s[0, 0] == pytest.approx(seconds, rel=0.01)
    assert run.end_soc[0, 0] == pytest.approx(soc, abs=0.004)


def test_more_power_never_lasts_longer():
    power = np.linspace(100, 9000, 40)[None, :]
    run = run_down(
        power, np.zeros((1, 1)), pack(weak_ohm=0.001, deficit=0.02), Limits(0.2, 2.5, 42.0, 0.003)
    )
    assert (np.diff(run.duration_s[0]) <= 0).all()


def test_charge_below_the_reserve_lasts_no_time():
    run = run_down(np.array([[1000.0]]), np.zeros((1, 1)), pack(soc=0.15), Limits(0.2, 2.5))
    assert run.duration_s[0, 0] == 0
    assert run.end_soc[0, 0] == pytest.approx(0.15)


def test_sun_that_gives_more_than_is_drawn_lasts_to_the_horizon():
    run = run_down(np.array([[100.0]]), np.array([[-200.0]]), pack(), Limits(0.2, 2.5))
    assert run.duration_s[0, 0] >= 72 * 3600


def test_power_the_pack_cannot_give_ends_at_once():
    run = run_down(np.array([[60_000.0]]), np.zeros((1, 1)), pack(ohm=0.003), Limits(0.2, 2.5))
    assert run.duration_s[0, 0] == 0
