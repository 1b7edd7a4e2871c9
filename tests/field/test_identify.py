"""Identification on invented cells made with other numbers than the defaults."""

from dataclasses import replace

import numpy as np
from pytest import approx

from analyzer.pack.cell_model import default_cell
from analyzer.series.recursion import first_order_lag
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.identify import foreseen_v, identify
from tests.support.identify_inputs import hats, hysteresis_path

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=100)


def load(seed, hours=6.0):
    """Current with pauses and bursts of charge, and the charge it leaves; invented."""
    rng = np.random.default_rng(seed)
    n = round(hours * 3600)
    amps = np.repeat(rng.choice([-10.0, 0.0, 10.0, 20.0, 40.0], n // 300), 300)
    return amps, 0.95 - np.cumsum(amps) / 3600 / 100


def stranger():
    """A cell with a shifted curve and one and a half times the resistance."""
    base = default_cell(PACK)
    kind = replace(base.kind, mean_v=base.kind.mean_v + 0.02)
    p = base.params
    return replace(base, kind=kind, params=replace(p, r0_ohm=1.5 * p.r0_ohm, r1_ohm=1.5 * p.r1_ohm))


def series(amps, soc, cell):
    blank = Series(0, 1.0, len(amps), {"pack_current_a": amps, "pack_voltage_v": 0 * amps})
    volts = foreseen_v(blank, PACK, cell, soc)
    return Series(0, 1.0, len(amps), {"pack_current_a": amps, "pack_voltage_v": volts})


def test_identify_foresees_another_load():
    cell = stranger()
    found = identify(series(*load(1), cell), PACK, load(1)[1], default_cell(PACK))
    amps, soc = load(2)
    new = series(amps, soc, cell)
    error = foreseen_v(new, PACK, found.cell, soc) - new.get("pack_voltage_v")
    assert np.sqrt(np.mean(error[soc > 0.3] ** 2)) < 0.004
    both = found.cell.params.r0_ohm + found.cell.params.r1_ohm
    assert both == approx(cell.params.r0_ohm + cell.params.r1_ohm, rel=0.2)
    assert found.rmse_v < 0.004


def test_identify_keeps_the_chemistry_where_nothing_was_seen():
    amps, soc = load(1, hours=2.0)
    found = identify(series(amps, soc, stranger()), PACK, soc, default_cell(PACK))
    unseen = found.cell.kind.soc < found.soc_low - 0.1
    usual = default_cell(PACK).kind
    off = found.cell.kind.mean_v[unseen] - usual.mean_v[unseen]
    assert np.ptp(off) < 0.03  # the whole curve may shift, its shape stays
    # as unsure there as the chemistry is, and surer where the stretch has been
    assert (found.cell.kind.end_sd_v[unseen] > 0.8 * usual.end_sd_v[unseen]).all()
    seen = (usual.soc > found.soc_low + 0.02) & (usual.soc < found.soc_high - 0.02)
    assert found.cell.kind.end_sd_v[seen].mean() < 0.5 * usual.shape_sd_v


def test_identify_is_the_surer_the_less_noise_there_is():
    amps, soc = load(1)
    clean = series(amps, soc, stranger())
    noise = np.repeat(np.random.default_rng(4).normal(0, 0.004, clean.n // 60), 60)
    values = {**clean.values, "pack_voltage_v": clean.get("pack_voltage_v") + noise}
    noisy = Series(0, 1.0, clean.n, values)
    sure, unsure = (identify(s, PACK, soc, default_cell(PACK)).cell.kind for s in (clean, noisy))
    middle = (sure.soc > 0.3) & (sure.soc < 0.9)
    assert sure.end_sd_v[middle].mean() < 0.7 * unsure.end_sd_v[middle].mean()
    assert sure.loss_sd < unsure.loss_sd


def far_knee():
    """A cell whose curve is pressed together towards full: its knee lies a tenth higher."""
    base = default_cell(PACK)
    at = base.kind.soc
    mean = np.interp((at - 0.1) / 0.9, at, base.kind.mean_v) - 0.5 * np.clip(0.1 - at, 0, 1)
    return replace(base, kind=replace(base.kind, mean_v=mean))


def deep(seed):
    """As `load`, from 95 to 10 %."""
    amps, _ = load(seed, hours=7.0)
    amps = amps * 85 * 3600 / amps.sum()
    return amps, 0.95 - np.cumsum(amps) / 3600 / 100


def test_identify_takes_a_knee_elsewhere_for_the_curve_and_not_for_a_gap():
    cell = far_knee()
    found = identify(series(*deep(1), cell), PACK, deep(1)[1], default_cell(PACK)).cell
    usual = float(default_cell(PACK).kind.half_gap_v[0])
    assert np.interp(0.1, found.kind.soc, found.kind.half_gap_v) < 1.7 * usual  # the cell has that
    new = series(*deep(2), cell)
    error = foreseen_v(new, PACK, found, deep(2)[1]) - new.get("pack_voltage_v")
    assert np.std(error[deep(2)[1] > 0.15]) < 0.0012


def test_identify_says_that_bends_move_where_charge_lags_in_the_grains():
    amps, soc = deep(1)
    lag = first_order_lag(0.1 * amps / 100, float(np.exp(-1 / 400)), 0.0)  # 10 % of charge at 1C
    logs = (series(amps, at, far_knee()) for at in (soc, soc - lag))
    still, lagging = (identify(s, PACK, soc, default_cell(PACK)).cell.kind.axis_sd for s in logs)
    assert still == approx(default_cell(PACK).kind.axis_sd, rel=0.1)
    assert lagging > 1.2 * still


def test_hats_are_linear_interpolation():
    knots = np.array([0.0, 0.3, 1.0])
    x = np.linspace(0, 1, 11)
    y = np.array([1.0, -2.0, 5.0])
    assert hats(x, knots) @ y == approx(np.interp(x, knots, y))


def test_hysteresis_path_by_hand():
    # half the reach of 2 % given, then the same taken: 1 - exp(-1/2), by hand
    path = hysteresis_path(np.array([0.01, -0.01]), 0.02, 0.0)
    first = -(1 - np.exp(-0.5))
    assert path == approx([first, 1 + (first - 1) * np.exp(-0.5)])
