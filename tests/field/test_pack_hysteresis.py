"""25 hours inside the flat part of an LFP curve, with a wrong current.

Data: lfp_1200mah_hysteresis (its README names the source; 2 % is the floor of its reference).
The filter has the default LFP set and the rated 1.2 Ah, nothing learned from this cell. It is
told the charge at the first row within 2 %; there is no anchor after that.
"""

import time

import numpy as np
import pytest

from analyzer.pack.cell_model import chemistry, default_cell
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.beside import counted, library_filter, row

pytestmark = pytest.mark.field

PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=1.2)
STEP_S = 4.0


@pytest.fixture(scope="module")
def profile(shared_data):
    """Current, voltage, reference charge; the cell's own measured curve."""
    folder = shared_data / "lfp_1200mah_hysteresis"
    table = np.genfromtxt(folder / "mixed_profile_25C.csv", delimiter=",", names=True)
    curve = np.genfromtxt(folder / "ocv_curves.csv", delimiter=",", names=True)
    names = ("mean_discharge_current_A", "mean_voltage_V", "soc_reference")
    return (*[table[n] for n in names], curve)


def _tracked(amps, volts, soc0):
    series = Series(0, STEP_S, len(amps), {"pack_current_a": amps, "pack_voltage_v": volts})
    start = time.perf_counter()
    charge = track(series, PACK, known(PACK, soc0, 0.02))
    return charge, time.perf_counter() - start


def _beside(amps, volts, reference, curve):
    cell = default_cell(PACK)
    theirs, seconds = library_filter(amps, volts, STEP_S, cell, reference[0], 0.02)
    print(row("filterpy EKF", theirs, reference, seconds))
    print(row("counting alone", counted(amps, STEP_S, 1.2, reference[0]), reference, 0.0))
    ohm = default_cell(PACK).params
    rest = volts + amps * (ohm.r0_ohm + ohm.r1_ohm)
    own = np.interp(rest, np.maximum.accumulate(curve["ocv_mean_V"]), curve["soc_percent"] / 100)
    print(row("voltage alone, own curve", own, reference, 0.0))


def test_range_holds_under_gain_and_offset_error(profile):
    amps, volts, reference, curve = profile
    wrong = 1.01 * amps + 0.012
    charge, seconds = _tracked(wrong, volts, reference[0])
    low, high = charge.range_frac(0.95)
    held = float(np.mean((low <= reference) & (reference <= high)))
    late = np.arange(len(amps)) * STEP_S > 24 * 3600
    half = 50 * float(np.min((high - low)[late]))
    print("\n25 h on the plateau, +1 % gain and +12 mA offset")
    print(row("ours", charge.soc_frac, reference, seconds))
    print(f"  95 % range held {held:.3f}, narrowest after 24 h +-{half:.1f} %")
    _beside(wrong, volts, reference, curve)
    assert held >= 0.95
    assert half >= 8.0


@pytest.mark.xfail(
    strict=True,
    reason="3.6 % for 2.5 (1.8 while packs were held as good as new); floor: a laboratory's cell"
    " holds its label, packs in service 5 % less in the mean, and the flat part cannot tell",
)
def test_charge_with_clean_current(profile):
    amps, volts, reference, curve = profile
    charge, seconds = _tracked(amps, volts, reference[0])
    print("\n25 h on the plateau, current as published")
    print(row("ours", charge.soc_frac, reference, seconds))
    _beside(amps, volts, reference, curve)
    error = charge.soc_frac - reference
    assert 100 * float(np.sqrt(np.mean(error**2))) <= 2.5


def test_default_curve_is_not_this_cells(profile):
    # the test would mean little if the default set came from this very cell
    curve = profile[3]
    own = curve["ocv_mean_V"] - chemistry("lfp").ocv_v(curve["soc_percent"] / 100)
    assert np.std(own[(curve["soc_percent"] > 10) & (curve["soc_percent"] < 95)]) > 0.003
