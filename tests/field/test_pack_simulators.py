"""Charge in cells of two independent simulators, from -5 to 45 °C, started 20 % wrong.

A cell is identified on one outing at 25 °C and judged on others, at other temperatures; the
default LFP set stands beside it. Voltage has 1 mV and current 0.1 A (of 230 Ah) resolution.

From 75 to 95 % the measured curve rises by less than 5 mV, and a cell that begins there on an
unknown branch can hide anywhere in it: the table says what is left to an observer who knows
everything but the start and a lasting error of a few millivolts.
"""

import os
import time

import numpy as np
import pytest

from analyzer.pack.cell_model import Cell, default_cell, measured_capacity
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.beside import counted, library_filter, row
from tests.support.ideal import ideal_observer
from tests.support.identify import identify
from tests.support.simulators import measured_curve, outing, pybamm_volts, thevenin_volts

pytestmark = pytest.mark.field

FULL = bool(os.environ.get("KEELWATT_FULL"))
TEMPS_C = (-5.0, 10.0, 25.0, 45.0) if FULL else (-5.0, 25.0)
SEEDS = 3 if FULL else 1
STEP_S = 5


def _series(amps, volts, step_s, temp_c, ah):
    step_a = 0.1 * ah / 230
    values = {
        "pack_current_a": np.round(amps / step_a) * step_a,
        "pack_voltage_v": np.round(volts, 3),
        "pack_temp_c": np.full(len(amps), temp_c),
    }
    return Series(0, step_s, len(amps), values)


def _thevenin(shared_data, seed, temp_c):
    rng = np.random.default_rng(seed)
    amps = outing(rng, 230.0, 5.0, low=0.12, start=0.95)
    amps = amps[::STEP_S]
    curve = measured_curve(shared_data)
    volts, soc = thevenin_volts(amps, curve, 230.0, 0.95, temp_c, step_s=STEP_S)
    return _series(amps, volts, STEP_S, temp_c, 230.0), soc, 230.0


def _pybamm(shared_data, seed, temp_c):
    rng = np.random.default_rng(seed)
    amps = outing(rng, 2.3, 5.0, low=0.1, start=0.9)
    amps, volts, soc, ah = pybamm_volts(amps, 0.9, temp_c)
    return _series(amps, volts, 5.0, temp_c, ah), soc, ah


def _runs(shared_data):
    """Simulator, temperature -> error after a tenth, whether the 80 % range held."""
    sims = {"thevenin": _thevenin}
    if FULL or os.environ.get("KEELWATT_PYBAMM"):
        pytest.importorskip("pybamm")
        sims["PyBaMM"] = _pybamm
    for name, simulate in sims.items():
        series, soc, ah = simulate(shared_data, 100, 25.0)
        pack = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=ah)
        base = default_cell(pack)
        cell = identify(series, pack, soc, measured_capacity(base, 0.02)).cell
        for temp_c in TEMPS_C:
            for seed in range(SEEDS):
                yield name, temp_c, pack, cell, *simulate(shared_data, seed, temp_c)[:2]


def _judge(series, soc, pack, cell: Cell | None, start):
    began = time.perf_counter()
    charge = track(series, pack, known(pack, start, 0.2, cell))
    seconds = time.perf_counter() - began
    low, high = charge.range_frac(0.8)
    late = slice(len(soc) // 10, None)
    held = (low <= soc) & (soc <= high)
    error = charge.soc_frac[late] - soc[late]
    return error, held, row(
        "identified" if cell else "default LFP set",
        charge.soc_frac[late], soc[late], seconds, low[late], high[late],
    )  # fmt: skip


@pytest.fixture(scope="module")
def judged(shared_data):
    """Worst rmse at 25 °C and elsewhere [%], share held over all runs, least of any run."""
    pytest.importorskip("thevenin")
    worst: dict[bool, float] = {}
    held_all, least = [], 1.0
    for name, temp_c, pack, cell, series, soc in _runs(shared_data):
        print(f"\n{name} at {temp_c:.0f} °C, started 20 % low, after the first tenth")
        start = soc[0] - 0.2
        error, held, line = _judge(series, soc, pack, cell, start)
        print(line)
        print(_judge(series, soc, pack, None, start)[2])
        amps, volts = series.get("pack_current_a"), series.get("pack_voltage_v")
        late = slice(len(soc) // 10, None)
        theirs, seconds = library_filter(amps, volts, series.step_s, cell, start, 0.2)
        print(row("filterpy EKF, identified", theirs[late], soc[late], seconds))
        plain = counted(amps, series.step_s, pack.rated_capacity_ah, start)
        print(row("counting alone", plain[late], soc[late], 0.0))
        if name == "thevenin" and temp_c == 25.0:
            curve = measured_curve(shared_data)
            for sd_mv in (1, 3, 5):
                best = ideal_observer(
                    amps, soc, pack.rated_capacity_ah, series.step_s, curve, start, 1e-3 * sd_mv
                )
                print(row(f"all known but start and {sd_mv} mV", best[late], soc[late], 0.0))
        rmse = 100 * float(np.sqrt(np.mean(error**2)))
        worst[temp_c == 25.0] = max(worst.get(temp_c == 25.0, 0.0), rmse)
        held_all.append(held)
        least = min(least, float(np.mean(held)))
    share = float(np.mean(np.concatenate(held_all)))
    print(
        f"\nworst rmse {worst[True]:.2f} % at 25 °C, {worst[False]:.2f} % elsewhere; "
        f"80 % range held {share:.3f} over all, {least:.3f} in the worst run"
    )
    return worst[True], worst[False], share, least


def test_charge_in_independent_simulators(judged):
    """The aims: 1.5 % at 25 °C, 3 % elsewhere, 0.60 of the worst run held."""
    at_25, elsewhere, _, least = judged
    assert at_25 < 1.5
    assert elsewhere < 3.0
    assert least > 0.60


@pytest.mark.xfail(
    strict=True,
    reason="1.00 held (0.98 with PyBaMM), aim 0.76 to 0.84; floor: the range allows for errors of"
    " a shunt and of a label, of which a simulated cell has none",
)
def test_range_in_independent_simulators(judged):
    assert 0.76 <= judged[2] <= 0.84
