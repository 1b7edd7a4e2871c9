"""The run-down of lead-acid packs against plain integration of the two wells, second by second."""

from dataclasses import replace

import numpy as np
import pytest

from analyzer.pack.chemistry import chemistry
from analyzer.pack.lead_acid.prior import RATES_PER_H, draw_wells, lag_of
from analyzer.pack.lead_acid.wells import Wells
from analyzer.range.run_down.discharge import LIMITS, Limits, PackDraws, ocv_table, run_down
from analyzer.range.run_down.pack_draws import SOC_GRID

AGM = chemistry("agm")
AH, CELLS = 180.0, 24


def pack(soc=1.0, lag_ah=0.0, weak_ohm=0.0, deficit=0.0, share=0.48, rate=0.85) -> PackDraws:
    one = np.ones(1)
    return PackDraws(
        soc=soc * one,
        capacity_ah=AH * one,
        resistance_ohm=0.12 / AH * one,
        weak_resistance_ohm=weak_ohm * one,
        weak_deficit_frac=deficit * one,
        shift_v=0.0 * one,
        cells=CELLS,
        ocv_v=ocv_table(AGM, 25.0),
        wells=Wells(AH * one, 1.07 * AH * one, share * one, rate * one, 0.08 * one, 0.01 * one),
        lag_ah=lag_ah * one,
    )


def second_by_second(power_w: float, p: PackDraws, limits: Limits) -> tuple[float, float, str]:
    """Euler steps of the two wells' own equations, every limit tested at each: s, charge, limit."""
    w, dt_h = p.wells, 2 / 3600
    c, k = w.share[0], w.rate_per_h[0]
    q = w.total_ah[0] - (1 - p.soc[0]) * AH
    q1, t = c * q - p.lag_ah[0], 0.0
    r, extra, behind = p.resistance_ohm[0], p.weak_resistance_ohm[0], p.weak_deficit_frac[0]

    def source(q, q1):
        soc = 1 - (w.total_ah[0] - q) / AH
        part = max(q1 / (c * q), 1e-12)
        return np.interp(soc, SOC_GRID, p.ocv_v) + 0.08 * np.log(part) - 0.01

    while True:
        volts = source(q, q1)
        amps = (volts - np.sqrt(max(volts**2 - 4 * r * power_w / CELLS, 0))) / (2 * r)
        soc = 1 - (w.total_ah[0] - q) / AH
        lack = behind * AH
        weak = source(q - lack, q1 - c * lack) - amps * (r + extra)
        pack_v = CELLS * (volts - amps * r) - amps * extra
        low = limits.controller_v is not None and (
            pack_v - power_w / pack_v * limits.cable_ohm < limits.controller_v
        )
        cut = volts - amps * r < limits.cell_cutoff_v
        come = (soc <= limits.reserve_frac, weak < limits.cell_cutoff_v, low, cut)
        for name, ended in zip(LIMITS, come, strict=False):
            if ended:
                return t, soc, name
        up = k * (c * q - q1)
        q, q1, t = q - amps * dt_h, q1 + (up - amps) * dt_h, t + 2


@pytest.mark.parametrize(
    ("power", "given", "limits", "name"),
    [
        (400.0, {}, Limits(0.3, 1.75), "reserve"),
        (5000.0, {"weak_ohm": 1e-9}, Limits(0.0, 1.75), "weakest cell's cut-off"),
        (2500.0, {"deficit": 0.12}, Limits(0.0, 1.75), "weakest cell's cut-off"),
        (4000.0, {}, Limits(0.1, 1.75, 46.0, 0.004), "controller cutback"),
        (2500.0, {"soc": 0.6, "lag_ah": 25.0}, Limits(0.0, 1.75, 40.0, 0.002), None),
    ],
)
def test_run_down_is_that_of_small_steps(power, given, limits, name):
    cells = pack(**given)
    run = run_down(np.array([[power]]), np.zeros((1, 1)), cells, limits)
    seconds, soc, ended = second_by_second(power, cells, limits)
    assert run.duration_s[0, 0] == pytest.approx(seconds, rel=0.005, abs=4)
    assert run.end_soc[0, 0] == pytest.approx(max(soc, 0.0), abs=0.003)
    if name is not None:
        assert ended == name == LIMITS[run.limit[0, 0]]


def test_more_power_never_lasts_longer_nor_gives_more_energy():
    """What sets lead-acid apart: energy itself falls with power."""
    power = np.linspace(400, 9000, 30)[None]
    run = run_down(power, np.zeros((1, 1)), pack(), Limits(0.0, 1.75))
    assert (np.diff(run.duration_s[0]) <= 0).all()
    assert (np.diff((run.duration_s * power)[0]) <= 0).all()


def test_load_of_before_leaves_less_and_a_rest_gives_it_back():
    """An hour at 60 A: 0.85/h and c 0.48 leave 0.52 x 60/0.85 x (1 - e^-0.85) = 21 Ah behind."""
    wells = pack().wells
    one_hour = np.array([60 * -np.expm1(-r) / r for r in RATES_PER_H])
    lag = lag_of(wells, one_hour)
    assert lag == pytest.approx(21.0, abs=0.5)
    power, limits = np.array([[3000.0]]), Limits(0.0, 1.75)
    at_once = run_down(power, 0 * power, pack(soc=0.6, lag_ah=lag[0]), limits).duration_s.item()
    rested = run_down(power, 0 * power, pack(soc=0.6), limits).duration_s.item()
    assert at_once < 0.8 * rested


def test_nothing_drawn_lasts_to_the_horizon_and_no_charge_no_time():
    none = run_down(np.zeros((1, 1)), np.full((1, 1), -50.0), pack(), Limits(0.2, 1.75))
    assert none.duration_s.item() == 72 * 3600
    assert none.end_soc.item() == 1.0
    low = run_down(np.full((1, 1), 500.0), np.zeros((1, 1)), pack(soc=0.1), Limits(0.2, 1.75))
    assert low.duration_s.item() == pytest.approx(0.0, abs=1e-3)
    assert low.end_soc.item() == pytest.approx(0.1)


def test_cold_shortens_the_run():
    limits, power = Limits(0.0, 1.75), np.array([[1500.0]])
    hours = []
    for temp_c in (25.0, 0.0):
        wells = draw_wells(
            "agm", np.full(300, AH), np.full(300, temp_c), 1.94, np.random.default_rng(1)
        )
        many = {
            k: np.full(300, v) for k, v in (("soc", 1.0), ("capacity_ah", AH), ("shift_v", 0.0))
        }
        many |= dict.fromkeys(("weak_resistance_ohm", "weak_deficit_frac"), np.zeros(300))
        cells = replace(
            pack(), **many, resistance_ohm=np.full(300, 0.12 / AH), wells=wells, lag_ah=None
        )
        hours.append(np.median(run_down(power, 0 * power, cells, limits).duration_s))
    # at about 7 h a maker prints 86 % at 0 °C, IEEE 485's factors 74 % (from memory)
    assert 0.72 < hours[1] / hours[0] < 0.88
