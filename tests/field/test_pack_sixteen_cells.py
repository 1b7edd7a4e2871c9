"""Sixteen-cell packs of independent simulators: is the right cell found, and the right cause?

One outing from nearly full to low and a charge back to full. Healthy cells differ as cells do:
resistance 3 %, capacity 0.5 %, charge 0.3 % (standard deviations; common practice, no source).
Readings have 1 mV and 0.1 A (of 230 Ah) resolution and 0.3 mV of noise.
"""

import os
from functools import lru_cache

import numpy as np
import pytest

from analyzer.cells.monitor import CellMonitor
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage
from tests.support.simulators import measured_curve, outing, pybamm_volts, thevenin_volts

pytestmark = pytest.mark.field

FULL = bool(os.environ.get("KEELWATT_FULL"))
SEEDS = 200 if FULL else 6
HEALTHY = 24 if FULL else 5
STEP_S = 5.0
FAULTS = {
    "cell_resistance": {"r_factor": 1.3},
    "cell_capacity": {"size": 0.95},
    "cell_charge": {"less": 0.03},
}
SIMULATORS = ["thevenin", "PyBaMM"] if FULL else ["thevenin"]
AH = {"thevenin": 230.0, "PyBaMM": 2.3}
LOW = {"thevenin": 0.06, "PyBaMM": 0.15}  # the latter's knee begins at 20 %


def _thevenin_cell(shared_data, amps, r_factor, size, less):
    curve, ah = measured_curve(shared_data), AH["thevenin"]
    part = amps[:: round(STEP_S)]
    return thevenin_volts(part, curve, size * ah, 0.99 - less, 20.0, r_factor, STEP_S)[0]


@lru_cache(maxsize=1)
def _pybamm_ohm():
    """Resistance ten seconds after a step of half the capacity's current, at half charge."""
    amps = np.r_[np.zeros(60), np.full(60, 0.5 * AH["PyBaMM"])]
    _, volts, _, _ = pybamm_volts(amps, 0.5, 20.0, 1)
    return float(volts[59] - volts[70]) / amps[-1]


def _pybamm_cell(_, amps, r_factor, size, less):
    more = _pybamm_ohm() * (r_factor - 1)  # in series
    return pybamm_volts(amps, 0.99 - less, 20.0, round(STEP_S), more_ohm=more, size=size)[1]


@pytest.fixture(scope="module", params=SIMULATORS)
def pool(request, shared_data):
    """Simulated voltages: name, current, healthy cells, and one cell per fault."""
    name = request.param
    pytest.importorskip(name.lower(), reason=f"{name} is not installed (test extra)")
    simulate = _thevenin_cell if name == "thevenin" else _pybamm_cell
    rng = np.random.default_rng(20)
    amps = outing(rng, AH[name], 4.0, low=LOW[name], start=0.99, charge_c=0.4)

    def cell(r_factor=1.0, size=1.0, less=0.0):
        return simulate(shared_data, amps, r_factor, size, less)

    healthy = [
        cell(1 + 0.03 * a, 1 + 0.005 * b, 0.003 * c)
        for a, b, c in rng.standard_normal((HEALTHY, 3))
    ]
    faulty = {k: cell(**v) for k, v in FAULTS.items()}
    least = min(len(volts) for volts in [*healthy, *faulty.values()])
    faulty = {k: v[:least] for k, v in faulty.items()}
    amps = amps[:: round(STEP_S)][:least]
    return name, amps, np.array([volts[:least] for volts in healthy]), faulty


def _findings(pool, seed, fault=None):
    name, amps, healthy, faulty = pool
    rng = np.random.default_rng(seed)
    where = seed % 16 + 1
    pack = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=AH[name])
    step_a = 0.1 * AH[name] / 230.0
    read = amps + rng.normal(0, 0.5 * step_a, len(amps))
    values = {"pack_current_a": np.round(read / step_a) * step_a}
    for i in range(1, 17):
        volts = faulty[fault] if fault and i == where else healthy[rng.integers(len(healthy))]
        own = rng.normal(0, 2e-4)  # of the voltage input
        noisy = volts + own + rng.normal(0, 3e-4, len(volts))
        values[cell_voltage(i)] = np.round(noisy, 3)
    monitor = CellMonitor(pack)
    monitor.update(Series(0, STEP_S, len(amps), values))
    return where, [(f.subject, f.kind) for f in monitor.detections()]


ONE = 1 / SEEDS if not FULL else 0.0  # six seeds may miss one by chance


@pytest.fixture(scope="module")
def shares(pool):
    """By fault: right cell and cause; right cell, and its cause or that it cannot be told; right
    cell."""
    table = {}
    for fault in FAULTS:
        right = honest = cell_only = 0
        for seed in range(SEEDS):
            where, found = _findings(pool, seed, fault)
            name = f"cell {where}"
            right += found == [(name, fault)]
            honest += found in ([(name, fault)], [(name, "cell_behind")])
            cell_only += [s for s, _ in found] == [name]
        table[fault] = (right / SEEDS, honest / SEEDS, cell_only / SEEDS)
    return table


def test_cell_monitor_finds_cell_and_cause_and_is_silent_on_healthy_packs(pool, shares):
    false = sum(bool(_findings(pool, 1000 + s)[1]) for s in range(SEEDS)) / SEEDS
    print(f"\nsixteen cells in {pool[0]}, {SEEDS} seeds each")
    for fault, (right, honest, cell_only) in shares.items():
        print(f"  {fault:16} right cell and cause {right:.3f}   or cannot tell {honest:.3f}   "
              f"right cell {cell_only:.3f}")  # fmt: skip
    print(f"  {'healthy':16} any finding {false:.3f}")
    assert all(honest >= 0.95 - ONE for _, honest, _ in shares.values())
    assert all(cell_only >= 0.95 - ONE for _, _, cell_only in shares.values())
    assert shares["cell_resistance"][0] >= 0.95 - ONE
    assert shares["cell_capacity"][0] >= 0.95 - ONE
    assert false <= 0.01


@pytest.mark.xfail(
    strict=True,
    reason="3 % less charge in one LFP cell: 2 of 6 told as that, the others as behind by what "
    "cannot be told apart (0.70 to 0.30); floor: never as another cause, above",
)
def test_cell_monitor_tells_three_percent_of_charge_for_what_it_is(shares):
    assert shares["cell_charge"][0] >= 0.95 - ONE
