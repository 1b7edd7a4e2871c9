"""A weak cell or block stays found while the pack is charged, lies full and is used again.

The packs are invented, and by a circuit of their own: a curve, one resistance, one slow
polarisation; lead-acid gives less the harder it is asked, takes more than it keeps, and gasses.
"""

import json
from dataclasses import dataclass, replace

import numpy as np
import pytest

from analyzer.cells.memory import CellMemory
from analyzer.cells.monitor import CellMonitor
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

STEP_S = 10.0
HOUR = 3600.0


@dataclass(frozen=True)
class Kind:
    """An invented kind of pack; volts and ohms of one cell."""

    pack: Pack
    charge: tuple[float, ...]
    volts: tuple[float, ...]
    full_v: float
    ohm: float
    keeps: float  # of what is put in
    harder: float  # exponent of the current by which it gives less
    gas_v: float  # on top while a full one is charged
    weak: int
    missing: float


LEAD = Kind(
    Pack(chemistry="lead_acid", cells_in_series=24, rated_capacity_ah=180, blocks_in_series=4),
    (0, 0.1, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0), (1.93, 1.97, 1.99, 2.025, 2.06, 2.1, 2.12, 2.135),
    2.4, 2.2e-4, 0.86, 0.12, 0.27, 2, 0.18,
)  # fmt: skip
NMC = Kind(
    Pack(chemistry="nmc", cells_in_series=14, rated_capacity_ah=110),
    (0, 0.03, 0.08, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.0),
    (3.0, 3.25, 3.42, 3.5, 3.6, 3.67, 3.8, 3.95, 4.08, 4.19),
    4.15, 9e-4, 0.995, 0.0, 0.0, 5, 0.07,
)  # fmt: skip
# hours, share of the capacity an hour out of the pack; None: on the charger
DAYS = [(5, None), (0.5, 0.01), (0.7, 0.15), (0.6, 0.25), (0.5, 0.1), (0.5, 0.22), (3, 0.005),
        (8, None), (0.5, 0.01), (0.8, 0.18), (0.8, 0.14)]  # fmt: skip
LEVELLED_AT = 8  # of them
FOUND_FROM_H = 8.3  # from the end of the first outing on


def lived(kind: Kind, low: float = 0.0, levelled: bool = False) -> Series:
    """What is measured of the days, with 1 mV of noise and 0.4 A that the shunt shows too much.

    Args:
        low: Charge that the weak one lacks at first, as a share.
        levelled: Whether it is brought to the others' charge after the second charge.
    """
    pack, rng = kind.pack, np.random.default_rng(3)
    units = pack.blocks_in_series or pack.cells_in_series
    inside = pack.cells_in_series // units
    ah = pack.rated_capacity_ah * (0.97 + 0.005 * rng.standard_normal(units))
    ah[kind.weak] *= 1 - kind.missing
    soc, slow_v = np.full(units, 0.9), 0.0
    soc[kind.weak] -= low
    most = np.ones(units)
    most[kind.weak] -= low
    rows = []
    for number, (hours, rate) in enumerate(DAYS):
        if levelled and number == LEVELLED_AT:
            soc[kind.weak] = np.median(soc)
            most[:] = 1.0
        for _ in range(round(hours * HOUR / STEP_S)):
            rest = np.interp(soc, kind.charge, kind.volts) - slow_v
            if rate is None:
                room = (kind.full_v - rest.mean()) / kind.ohm
                taper = pack.rated_capacity_ah * (1.5 * (1 - soc.min()) + 0.002)
                amps = -max(min(0.15 * pack.rated_capacity_ah, room, taper), 0.0)
            else:
                amps = rate * pack.rated_capacity_ah
            twentieth = max(abs(amps) / (pack.rated_capacity_ah / 20), 1.0)
            used = amps * (kind.keeps if amps < 0 else twentieth**kind.harder)
            soc = np.minimum(soc - used * STEP_S / HOUR / ah, most)
            slow_v += (0.6 * amps * kind.ohm - slow_v) * STEP_S / 400.0
            gas_v = kind.gas_v * np.exp((soc - 1) / 0.04) * (rate is None)
            volts = inside * (rest - amps * kind.ohm + gas_v)
            rows.append([amps + 0.4, *(volts + 1e-3 * rng.standard_normal(units))])
    name = block_voltage if pack.blocks_in_series else cell_voltage
    names = ["pack_current_a", *(name(i + 1) for i in range(units))]
    return Series(0, STEP_S, len(rows), dict(zip(names, np.array(rows).T, strict=True)))


@pytest.mark.parametrize("kind", [LEAD, NMC], ids=["lead-acid", "nmc"])
def test_a_weak_one_stays_found(kind):
    log, monitor = lived(kind), CellMonitor(kind.pack)
    called = f"{'block' if kind.pack.blocks_in_series else 'cell'} {kind.weak + 1}"
    quarter = round(0.25 * HOUR / STEP_S)
    for first in range(0, log.n, quarter):
        part = {n: v[first : first + quarter] for n, v in log.values.items()}
        count = len(part["pack_current_a"])
        monitor.update(Series(round(first * STEP_S * 1e6), STEP_S, count, part))
        found = monitor.detections()
        if (first + quarter) * STEP_S < FOUND_FROM_H * HOUR:
            assert all(f.subject == called for f in found)
            continue
        assert [(f.subject, f.kind) for f in found] == [(called, "cell_capacity")], first
        assert found[0].size.mid == pytest.approx(kind.missing, rel=0.4)


def test_what_is_known_survives_a_restart_through_json():
    """A new monitor every hour, with what the one before it left in the log."""
    log, kept, told = lived(NMC), None, []
    hour = round(HOUR / STEP_S)
    for first in range(0, log.n, hour):
        memory = CellMemory.from_dict(json.loads(kept)) if kept else None
        monitor = CellMonitor(NMC.pack, memory)
        monitor.update(log.cut(first, min(first + hour, log.n)))
        told.append([(f.subject, f.kind) for f in monitor.detections()])
        weak = monitor.weakest()
        kept = json.dumps(monitor.memory().to_dict())
    assert told[-1] == [(f"cell {NMC.weak + 1}", "cell_capacity")]
    found = told.index(told[-1])
    assert all(one == told[-1] for one in told[found:])
    assert weak.name == f"cell {NMC.weak + 1}"
    assert sum(one.weight for one in weak.deficits) <= 1.0
    (likely,) = [one for one in weak.deficits if one.weight > 0.5]
    assert likely.mean == pytest.approx(NMC.missing, rel=0.4)


def test_another_packs_memory_is_not_taken():
    monitor = CellMonitor(NMC.pack)
    monitor.update(lived(NMC).cut(0, round(FOUND_FROM_H * HOUR / STEP_S)))
    memory = monitor.memory()
    other = NMC.pack.model_copy(update={"rated_capacity_ah": 90.0})
    for pack, known in ((NMC.pack, True), (other, False)):
        after = CellMonitor(pack, memory)
        after.update(lived(NMC).cut(0, 60))
        assert bool(after.detections()) == known


@pytest.mark.parametrize("levelled", [False, True])
def test_a_full_charge_may_have_levelled_a_low_one(levelled):
    kind = replace(NMC, missing=0.0)
    log, monitor = lived(kind, low=0.05, levelled=levelled), CellMonitor(kind.pack)
    outing = round(FOUND_FROM_H * HOUR / STEP_S)
    monitor.update(log.cut(0, outing))
    (found,) = monitor.detections()
    assert (found.subject, found.kind) == (f"cell {kind.weak + 1}", "cell_charge")
    assert found.size.mid == pytest.approx(0.05, rel=0.4)
    monitor.update(log.cut(outing, log.n))
    after = [(f.subject, f.kind) for f in monitor.detections()]
    assert after == ([] if levelled else [(found.subject, "cell_charge")])
