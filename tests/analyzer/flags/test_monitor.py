"""The watch on invented logs: what is flagged, once, and what is not."""

import numpy as np
import pytest

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.flags import monitor
from analyzer.series.series import Series
from logger.boat import Motor, Pack
from tests.support.motor_boat import PROBED, motor_boat

BOAT = motor_boat(
    pack=Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200, max_discharge_a=150),
    motor=Motor(rated_power_w=6000, motor_max_temp_c=120, controller_max_temp_c=80),
    cable=(PROBED,),
)


def calm(n: int = 2100, seed: int = 0) -> Series:
    """An uneventful half hour: the motor comes and goes, everything stays well inside."""
    rng = np.random.default_rng(seed)
    amps = 60.0 * ((np.arange(n) // 500) % 2) + rng.normal(0, 1, n)
    values = {
        "pack_current_a": amps,
        "pack_voltage_v": 53.0 - 0.01 * amps + rng.normal(0, 0.01, n),
        "pack_temp_c": np.full(n, 22.0),
        "motor_temp_c": 50 + rng.normal(0, 0.3, n),
        "controller_temp_c": 45 + rng.normal(0, 0.3, n),
        "controller_fault_code": np.zeros(n),
        "ambient_temp_c": 20 + rng.normal(0, 0.1, n),
        "probe_positive_temp_c": 22 + rng.normal(0, 0.1, n),
        "speed_ground_mps": np.full(n, 2.0),
    }
    for k in range(1, 17):
        values[f"cell_{k:02d}_voltage_v"] = values["pack_voltage_v"] / 16 + rng.normal(0, 5e-4, n)
    return Series(1_700_000_000_000_000, 1.0, n, values)


def events(log: Series) -> list[tuple[str, str, str]]:
    found = monitor.walk(monitor.Watch(BOAT), log)
    return [(e.action, e.flag.kind, e.flag.level) for e in found]


def test_an_uneventful_hour_raises_nothing():
    assert events(calm()) == []


def test_single_bad_readings_raise_nothing():
    log = calm()
    for k, name in enumerate(log.values):
        log.values[name][100 + 17 * k] = 1e4
        log.values[name][200 + 17 * k] = -1e4
    assert events(log) == []


CAUSES = {
    "motor_hot": ("motor_temp_c", 125.0),
    "controller_hot": ("controller_temp_c", 85.0),
    "pack_hot": ("pack_temp_c", 60.0),
    "cell_low": ("cell_07_voltage_v", 2.5),
    "cell_high": ("cell_07_voltage_v", 3.8),
    "controller_fault": ("controller_fault_code", 12.0),
    "over_current": ("pack_current_a", 170.0),
}


@pytest.mark.parametrize("kind", CAUSES)
def test_each_cause_makes_one_flag_that_clears(kind):
    channel, value = CAUSES[kind]
    log = calm()
    log.values[channel][900:1100] = value
    if kind == "over_current":  # the voltage answers, as it would
        log.values["pack_voltage_v"][900:1100] -= 1.5
    book = monitor.Watch(BOAT)
    found = list(monitor.walk(book, log))
    mine = [e for e in found if e.flag.kind == kind or e.action == "worse"]
    raised = [e for e in found if e.action == "raised"]
    assert [e.flag.kind for e in raised][:1] == [kind]
    assert len(raised) == 1, raised
    assert mine[-1].action == "cleared"
    assert 900e6 < raised[0].flag.raised_us - log.t0_us < 1000e6
    assert raised[0].flag.evidence
    assert channel in raised[0].flag.channels


def test_a_lug_that_heats_and_gets_hot_is_one_flag_that_worsens():
    log = calm(4800)
    log.values["pack_current_a"][600:4200] = 120.0
    t = np.arange(4800.0)
    warm = np.clip(t - 600, 0, 3600) / 60
    log.values["probe_positive_temp_c"] += warm * (t < 4200) + 60 * np.exp(-(t - 4200) / 500) * (
        t >= 4200
    )
    found = [e for e in monitor.walk(monitor.Watch(BOAT), log) if e.flag.key == "joint/positive"]
    assert [e.action for e in found[:2]] == ["raised", "worse"]
    assert [e.flag.kind for e in found[:2]] == ["lug_heating", "lug_hot"]
    assert sum(e.action == "raised" for e in found) == 1


def test_a_shunt_the_wrong_way_round_is_one_flag_and_no_false_alarm():
    log = calm()
    given_a = 60.0 * ((np.arange(log.n) // 100) % 2)  # the motor up and down
    log.values["pack_voltage_v"] = 53.0 - 0.03 * given_a
    log.values["pack_current_a"] = -given_a
    wrong = [(a, kind) for a, kind, _ in events(log)]
    assert wrong == [("raised", "shunt_reversed")]


@pytest.mark.parametrize(("stands_s", "raised"), [(900, 0), (1500, 1)])
def test_what_a_cell_holds_is_flagged_once_it_has_stood_for_some_time(stands_s, raised):
    size = Estimate(0.06, 0.04, 0.08, "frac", used=("cell_07_voltage_v",))
    finding = Detection("cell 7", "cell_charge", "Less charge.", 0.99, size, "cure", "caution")
    log, watching = calm(), monitor.Watch(BOAT)
    begin = log.t0_us + 60_000_000
    flags = []
    for first in range(0, log.n, 10):
        piece = log.cut(first, first + 10)
        stands = 0 <= piece.t0_us - begin < stands_s * 1e6
        watching.cells.detections = lambda stands=stands: [finding] if stands else []
        flags += [e for e in watching.update(piece) if e.action == "raised"]
    assert [e.flag.kind for e in flags] == ["cell_charge"] * raised
    assert all(e.flag.first_action.endswith("In harbour: cure.") for e in flags)


def told(watching, log, kinds):
    """Events while a cell is told as (from when on, kind, sureness)."""
    size = Estimate(0.06, 0.04, 0.08, "frac", used=("cell_07_voltage_v",))
    events = []
    for first in range(0, log.n, 10):
        *_, (_, kind, sure) = [one for one in kinds if one[0] <= first]
        found = (
            [Detection("cell 7", kind, f"{kind}, 6 %.", sure, size, "cure", "c")] if kind else []
        )
        watching.cells.detections = lambda found=found: found
        events += watching.update(log.cut(first, first + 10))
    return [(e.action, e.flag) for e in events]


def test_a_cell_behind_by_no_known_cause_raises_a_flag_with_size_sureness_and_what_to_do():
    ((action, flag),) = told(monitor.Watch(BOAT), calm(), [(0, "cell_behind", 0.96)])
    assert (action, flag.kind, flag.subject) == ("raised", "cell_behind", "cell 7")
    assert "6 %" in flag.evidence
    assert "96 % sure" in flag.cause
    assert flag.first_action == "Plan for less range. In harbour: cure."


def test_a_cell_whose_cause_is_named_later_has_one_flag():
    """First behind by no known cause, then by one that is less sure, then surely by it."""
    watching = monitor.Watch(BOAT)
    course = [(0, "cell_behind", 0.99), (1500, "cell_charge", 0.8), (2400, "cell_charge", 0.97)]
    ((action, flag),) = told(watching, calm(4200), course)
    assert (action, flag.kind) == ("raised", "cell_behind")
    now = watching.book.now(flag.key)
    assert now is not None
    assert now.text == "cell_charge, 6 %."


def test_a_cell_that_is_no_longer_behind_clears_its_flag():
    course = [(0, "cell_behind", 0.99), (1500, "", 0.0)]
    assert [action for action, _ in told(monitor.Watch(BOAT), calm(4200), course)] == [
        "raised", "cleared",
    ]  # fmt: skip


CHARGED = {  # cells, volts of a pack at the end of a usual charge, one too high: common practice
    "lfp": (16, 58.4, 59.4),
    "nmc": (14, 58.8, 59.4),
    "lead_acid": (24, 59.2, 60.6),
    "agm": (24, 58.8, 60.6),
}


@pytest.mark.parametrize("chemistry", CHARGED)
def test_the_end_of_a_usual_charge_is_no_flag(chemistry):
    cells, usual_v, high_v = CHARGED[chemistry]
    pack = Pack(chemistry=chemistry, cells_in_series=cells, rated_capacity_ah=200)
    boat = BOAT.model_copy(update={"pack": pack})

    def raised(volts: float) -> set[str]:
        values = {"pack_voltage_v": np.full(900, volts), "pack_current_a": np.full(900, -4.0)}
        for k in range(1, cells + 1):
            values[f"cell_{k:02d}_voltage_v"] = np.full(900, volts / cells)
        log = Series(1_700_000_000_000_000, 1.0, 900, values)
        return {e.flag.kind for e in monitor.walk(monitor.Watch(boat), log)}

    assert raised(usual_v) == set()
    assert raised(high_v) & {"pack_high", "cell_high"}


def test_cold_charge_is_act_now():
    log = calm()
    log.values["pack_temp_c"][:] = -3.0
    log.values["pack_current_a"][900:1200] = -20.0
    assert ("raised", "cold_charge", "act now") in events(log)


def test_cold_alone_and_charge_alone_are_no_cause():
    log = calm()
    log.values["pack_temp_c"][:] = -3.0
    assert events(log) == []
    warm = calm()
    warm.values["pack_current_a"][900:1200] = -20.0
    assert events(warm) == []


def test_a_quiet_sensor_is_a_flag_and_two_on_one_wire_are_one():
    log = calm()
    log.values["motor_temp_c"][1000:] = np.nan
    log.values["controller_temp_c"][1000:] = np.nan
    assert events(log) == [("raised", "quiet", "notice")]


def test_a_pack_gone_quiet_is_a_warning():
    log = calm()
    log.values["pack_voltage_v"][1000:] = np.nan
    log.values["pack_current_a"][1000:] = np.nan
    assert events(log) == [("raised", "quiet", "warning")]


def test_pieces_of_any_length_give_the_same_flags():
    log = calm()
    log.values["motor_temp_c"][900:1100] = 125.0
    kinds = []
    for step in (2, 10, 60):
        judge = monitor.Watch(BOAT)
        found = [e for k in range(0, log.n, step) for e in judge.update(log.cut(k, k + step))]
        kinds.append([(e.action, e.flag.kind, e.flag.level) for e in found])
    assert kinds[0] == kinds[1] == kinds[2]


def test_run_writes_flags_and_their_lives_into_the_log(tmp_path):
    from logger.reading import Block, Group, Quantum
    from logger.store import Store

    log = calm()
    log.values["motor_temp_c"][900:1100] = 125.0
    names = tuple(log.values)
    group = Group("test/all", names, tuple(Quantum() for _ in names))
    t_us = np.arange(log.n, dtype=np.int64) * 1_000_000
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(Block(group, t_us, np.stack([log.values[n] for n in names], axis=1)))
        writer.close()
        monitor.run(store, BOAT)
        (flag,) = store.flags()
    assert (flag.kind, flag.level, flag.subject) == ("motor_hot", "act now", "motor")
    assert flag.cleared_us is not None
    assert flag.cleared_us > flag.raised_us
