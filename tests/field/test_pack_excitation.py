"""A 3.5 Ah LFP cell under random load: identified on one run, judged on the other.

Data: lfp_3500mah_excitation (its README names the source). Start and capacity are the
publisher's; nothing else of the judged run is used. The default row has only the rated 3.5 Ah.

The misses lie mostly between 70 and 90 % of charge, where the measured curve rises by 6 mV: told
20 % too little or not, a cell may be anywhere there. One that is identified on the very run it is
judged on does no better, and its row stands beside.
"""

import time
from dataclasses import replace

import numpy as np
import pytest

from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.beside import counted, library_filter, row
from tests.support.identify import foreseen_v, identify

pytestmark = pytest.mark.field

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=3.5)
CAPACITY_AH, START = 13270.18 / 3600, 0.985  # publisher's


@pytest.fixture(scope="module")
def runs(shared_data):
    """Run number -> (series, charge)."""
    out = {}
    for path in sorted((shared_data / "lfp_3500mah_excitation").glob("excitation_run*.csv")):
        table = np.genfromtxt(path, delimiter=",", names=True)
        amps = table["discharge_current_A"]
        series = Series(
            0, 1.0, len(amps), {"pack_current_a": amps, "pack_voltage_v": table["voltage_V"]}
        )
        out[int(path.stem[-1])] = (series, counted(amps, 1.0, CAPACITY_AH, START))
    return out


@pytest.fixture(scope="module")
def identified(runs):
    """Run number -> cell identified on it."""
    base = default_cell(PACK)
    params = replace(base.params, capacity_ah=CAPACITY_AH)
    base = measured_capacity(replace(base, params=params), 0.02)
    return {k: identify(*_with_pack(v), base).cell for k, v in runs.items()}


def _with_pack(run):
    series, soc = run
    return series, PACK, soc


@pytest.mark.parametrize(("own", "other"), [(1, 2), (2, 1)])
def test_voltage_foreseen_on_the_other_run(runs, identified, own, other):
    series, soc = runs[other]
    error = foreseen_v(series, PACK, identified[own], soc) - series.get("pack_voltage_v")
    rmse_mv = 1e3 * float(np.sqrt(np.mean(error[soc > 0.1] ** 2)))
    print(f"\nidentified on run {own}, run {other}: voltage rmse above 10 % {rmse_mv:.1f} mV")
    assert rmse_mv <= 12.0


@pytest.fixture(scope="module")
def rmse_of(runs, identified):
    """Run identified on, run judged -> error of the charge found, started 20 % wrong. [%]"""
    return {pair: _found(runs, identified, *pair) for pair in ((1, 2), (2, 1))}


@pytest.mark.parametrize("pair", [(1, 2), (2, 1)])
def test_charge_found_on_the_other_run_from_a_start_20_percent_wrong(rmse_of, pair):
    """The flat part gives no more."""
    assert rmse_of[pair] < 4.0


FLAT = pytest.mark.xfail(
    strict=True,
    reason="3.2 %, floor 2.8 %: what the cell gives that was identified on the very run judged",
)


@pytest.mark.parametrize("pair", [(1, 2), pytest.param((2, 1), marks=FLAT)])
def test_charge_found_within_the_aim(rmse_of, pair):
    assert rmse_of[pair] < 1.5


def _found(runs, identified, own, other):
    series, soc = runs[other]
    cell, wrong = identified[own], START - 0.2
    print(f"\nidentified on run {own}, run {other}, started 20 % wrong, after the first tenth")
    late = slice(len(soc) // 10, None)
    ours = {}
    own_run = ("identified on this very run", identified[other])
    for name, given in (("identified", cell), own_run, ("default LFP set", None)):
        start = time.perf_counter()
        charge = track(series, PACK, known(PACK, wrong, 0.2, given))
        seconds = time.perf_counter() - start
        low, high = charge.range_frac(0.8)
        found = charge.soc_frac[late]
        print(row(name, found, soc[late], seconds, low[late], high[late]))
        ours[name] = 100 * float(np.sqrt(np.mean((found - soc[late]) ** 2)))
    amps, volts = series.get("pack_current_a"), series.get("pack_voltage_v")
    theirs, seconds = library_filter(amps, volts, 1.0, cell, wrong, 0.2)
    print(row("filterpy EKF, identified", theirs[late], soc[late], seconds))
    plain = counted(amps, 1.0, CAPACITY_AH, wrong)
    print(row("counting alone", plain[late], soc[late], 0.0))
    return ours["identified"]


@pytest.mark.parametrize("hours", [8, 72])
@pytest.mark.parametrize(("before", "after"), [(1, 2), (2, 1)])
def test_charge_found_after_a_charge_that_nobody_recorded(runs, before, after, hours):
    """One run is followed down to empty, as aboard, with what the label says; the next begins full,
    some hours later. No issue's figure stands behind the limits."""
    first, soc = runs[before]
    left = track(first, PACK, known(PACK, soc[0], 0.01)).final
    series, soc = runs[after]
    t0_us = left.t_us + hours * 3600 * 1_000_000
    start = time.perf_counter()
    charge = track(Series(t0_us, 1.0, series.n, series.values), PACK, left)
    seconds = time.perf_counter() - start
    low, high = charge.range_frac(0.8)
    late = slice(len(soc) // 10, None)
    print(f"\nrun {after}, full again {hours} h after run {before} was followed to its end")
    print(row("followed", charge.soc_frac[late], soc[late], seconds, low[late], high[late]))
    assert 100 * float(np.sqrt(np.mean((charge.soc_frac[late] - soc[late]) ** 2))) < 3.0
    assert np.mean((low <= soc) & (soc <= high)) > 0.6
