"""A shunt that reads half an ampere too much on a 230 Ah pack, for a day and a night.

Cell: thevenin's circuit with a measured LFP curve. Once the pack is full in the course of the
day, once it only rests long. What the offset costs is the error with it less without it.
"""

import numpy as np
import pytest

from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Pack
from tests.support.beside import counted
from tests.support.simulators import measured_curve, thevenin_volts

pytestmark = pytest.mark.field

AH, OFFSET_A, HOURS, STEP_S = 230.0, 0.5, 24, 10.0
PACK = Pack(chemistry="lfp", cells_in_series=1, rated_capacity_ah=AH, cell_full_v=3.45)


def _day(kind):
    """Current of 24 hours: three outings, with a charge to full or a long rest between."""
    rng = np.random.default_rng(5)
    per_h = round(3600 / STEP_S)
    amps = np.zeros(HOURS * per_h)

    def motor(start_h, hours, mean_a):
        first = round(start_h * per_h)
        for k in range(first, first + round(hours * per_h), 24):
            amps[k : k + 24] = mean_a * rng.uniform(0.3, 1.7)

    motor(0.5, 3.0, 30.0)
    if kind == "full":
        missing_ah = 0.02 * AH + amps.sum() / per_h
        # 40 A until 3 % are missing, then 6 A to the end
        fast, slow = (missing_ah - 0.03 * AH) / 40.0, 0.029 * AH / 6.0
        first = 5 * per_h
        amps[first : first + round(fast * per_h)] = -40.0
        amps[first + round(fast * per_h) : first + round((fast + slow) * per_h)] = -6.0
    motor(12.0, 3.0, 20.0)
    motor(20.0, 2.0, 20.0)
    return amps


@pytest.mark.parametrize("kind", ["full", "rest"])
def test_offset_costs_little(shared_data, kind):
    pytest.importorskip("thevenin")
    amps = _day(kind)
    volts, soc = thevenin_volts(amps, measured_curve(shared_data), AH, 0.98, 20.0, step_s=STEP_S)
    ends = {}
    for offset in (0.0, OFFSET_A):
        read = np.round(amps + offset, 1)
        values = {"pack_current_a": read, "pack_voltage_v": np.round(volts, 3)}
        charge = track(Series(0, STEP_S, len(amps), values), PACK, known(PACK, 0.98, 0.03))
        ends[offset] = charge
    cost = 100 * abs(ends[OFFSET_A].final.soc - ends[0.0].final.soc)
    low, high = ends[OFFSET_A].final.range_frac(0.8)
    alone = counted(amps + OFFSET_A, STEP_S, AH, 0.98)[-1]
    found = ends[OFFSET_A].final
    print(
        f"\n{kind}: 0.5 A for 24 h costs {cost:.2f} % of charge; counting alone "
        f"{100 * abs(alone - soc[-1]):.2f} %; at the end {100 * found.soc:.1f} % "
        f"({100 * low:.0f} to {100 * high:.0f}), truth {100 * soc[-1]:.1f} %; "
        f"offset found {found.offset_a:.2f} +- {found.offset_sd_a:.2f} A"
    )
    assert cost <= 3.0
