"""The live reserve, against ampere-hours counted by hand, with and without the pack's own meter."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest

from analyzer.flags.reserve import Reserve
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known
from analyzer.series.series import Series
from logger.boat import Hotel, Pack
from logger.boat import Reserve as Kept
from tests.support.motor_boat import motor_boat

S = 1_000_000
AMPS, AH = 60.0, 200.0
BOAT = motor_boat(
    pack=Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=AH),
    hotel=Hotel(power_w=0.0),
    reserve=Kept(soc_frac=0.2),
)
START = 0.30  # so the reserve is reached after a tenth of 200 Ah at 60 A: twenty minutes


def motoring(minutes: int, meter: float = 1.0) -> Series:
    """At 60 A all the time; the controller's own meter says `meter` times as much."""
    n = minutes * 60
    soc = START - AMPS / 3600 / AH * np.arange(n)
    volts = 16 * chemistry("lfp").ocv_v(np.clip(soc, 0, 1), hysteresis=-1.0) - 0.012 * AMPS
    values = {
        "pack_voltage_v": volts,
        "pack_current_a": np.full(n, AMPS),
        "controller_voltage_v": volts,
        "controller_current_a": np.full(n, meter * AMPS),
    }
    return Series(1_700_000_000_000_000, 1.0, n, values)


def reached(log: Series) -> tuple[float | None, Reserve]:
    """After how many minutes the reserve is told, and who told it."""
    judge = Reserve(BOAT, known(BOAT.pack, START, 0.02, t_us=log.t0_us))
    told = None
    for at in range(0, log.n, 10):
        judge.update(log.cut(at, at + 10))
        if told is None and judge.detections():
            told = (at + 10) / 60
    return told, judge


def silent_from(log: Series, minute: int, *names: str) -> Series:
    values = {k: v.copy() for k, v in log.values.items()}
    for name in names:
        values[name][minute * 60 :] = np.nan
    return Series(log.t0_us, log.step_s, log.n, values)


@pytest.mark.parametrize("meter", [0.93, 1.0, 1.08])
@pytest.mark.parametrize(
    "names", [(), ("pack_current_a",), ("pack_current_a", "pack_voltage_v")], ids=len
)
def test_the_reserve_is_told_when_counting_by_hand_has_it(meter, names):
    told, _ = reached(silent_from(motoring(30, meter), 10, *names))
    # Twenty minutes; three readings of the charge must say so, a minute apart.
    assert told == pytest.approx(22.5, abs=2.5)


def test_its_size_is_the_charge_with_its_range():
    _, judge = reached(motoring(24))
    (found,) = judge.detections()
    true = START - AMPS * 24 / 60 / AH
    assert found.size.low < true < found.size.high
    assert (found.size.unit, found.key, found.level) == ("frac", "pack/low", "warning")


def test_at_half_the_reserve_it_is_urgent():
    """By hand: 0.1 is reached after forty minutes."""
    _, before = reached(motoring(36))
    _, after = reached(motoring(46))
    assert [d.level for d in before.detections()] == ["warning"]
    assert [d.level for d in after.detections()] == ["act now"]


def test_without_a_meter_nothing_is_told():
    told, judge = reached(silent_from(motoring(40), 10, "pack_current_a", "controller_current_a"))
    assert told is None
    assert judge.state is not None


def test_what_is_bridged_is_doubted_by_all_that_was_bridged():
    """A ratio good to 2 %: after 20 minutes at 60 A the error is 0.02 x 20 Ah of 200 Ah."""
    read, bridged = (reached(log)[1].state for log in (
        motoring(40), silent_from(motoring(40), 20, "pack_current_a")))  # fmt: skip
    assert bridged.drift_sd - read.drift_sd == pytest.approx(0.02 * 20.0 / AH, rel=0.2)


def test_a_charge_not_well_known_is_not_told():
    log = motoring(30)
    judge = Reserve(BOAT, known(BOAT.pack, START, 0.2, t_us=log.t0_us))
    silent = silent_from(log, 0, "pack_voltage_v")  # nothing narrows it
    for at in range(0, log.n, 10):
        judge.update(silent.cut(at, at + 10))
        assert judge.detections() == []


def test_what_the_pack_showed_before_a_winter_is_asked_after_without_a_table_of_it():
    # 30 minutes with the pack's current, half of them before a winter; then it falls silent.
    before = motoring(30)
    parts = [
        before.cut(0, 900),
        replace(before.cut(900, 1800), t0_us=before.t0_us + 150 * 86400 * S),
    ]
    silent = silent_from(motoring(2), 0, "pack_current_a")
    parts.append(replace(silent, t0_us=parts[-1].t0_us + 900 * S))
    judge = Reserve(BOAT, known(BOAT.pack, START, 0.02, t_us=before.t0_us))
    tracemalloc.start()
    for part in parts:
        for at in range(0, part.n, 60):
            judge.update(part.cut(at, at + 60))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # A second of a winter is 8 bytes a channel: by multiplication 100 MB a channel.
    assert most < 40e6
    # 1.0 by `motoring`: the controller's meter says what the pack's does.
    assert judge._ratio[0] == pytest.approx(1.0, abs=1e-9)
