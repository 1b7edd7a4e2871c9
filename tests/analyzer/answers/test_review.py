"""Trips and their review where a sensor lies or is not there. Figures invented."""

import numpy as np
import pytest

from analyzer.answers.hull import hull_state
from analyzer.answers.refresh import refresh
from analyzer.answers.review import review
from analyzer.faces.cli.text import answers as text
from analyzer.learned.kept_trips import trips
from analyzer.pack.chemistry import chemistry
from analyzer.series.log import OpenLog
from logger.boat import Pack
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from tests.support.motor_boat import motor_boat

AH, CELLS = 200.0, 16
BOAT = motor_boat(pack=Pack(chemistry="lfp", cells_in_series=CELLS, rated_capacity_ah=AH))
START_US = 1_782_887_400_000_000


def outing() -> dict[str, np.ndarray]:
    """Twenty minutes at rest, forty under motor at changing power; what truly flowed."""
    rng = np.random.default_rng(1)
    levels = [40.0, 20.0, 60.0, 30.0] * 5
    amps = np.repeat([0.0, *levels], [1200, *([120] * len(levels))])
    amps = amps + rng.normal(0, 0.3, len(amps))
    rest = chemistry("lfp").ocv_v(0.8 - np.cumsum(amps) / 3600 / AH, 25.0, -1.0)
    return {
        "pack_voltage_v": CELLS * (rest - 0.6e-3 * amps),
        "pack_current_a": amps,
        "speed_ground_mps": np.where(amps > 5, 0.9 * np.cbrt(np.maximum(amps, 0.0)), 0.05),
    }


def log(path, values: dict[str, np.ndarray]) -> OpenLog:
    store = Store.open(path, write=True)
    group = Group("t", tuple(values), (EXACT,) * len(values))
    writer = store.writer("boot")
    writer.add(UtcFix(0, START_US, "file", 1.0))
    table = np.column_stack(list(values.values()))
    writer.add(Block(group, np.arange(len(table), dtype=np.int64) * 1_000_000, table))
    writer.close()
    opened = OpenLog(store, BOAT)
    refresh(opened)
    return opened


def test_a_reversed_shunt_s_trip_used_what_truly_flowed(tmp_path):
    """Watt-hours against the sum of true volts times amperes; the consumption by the distance."""
    true = outing()
    with log(tmp_path / "log.sqlite", true | {"pack_current_a": -true["pack_current_a"]}) as opened:
        (row,) = trips(opened)
        answer = review(opened)
    watts = true["pack_voltage_v"] * true["pack_current_a"]
    moving = true["pack_current_a"] > 5
    assert row.energy_out_wh == pytest.approx(watts[moving].sum() / 3600, rel=0.01)
    assert row.energy_in_wh == pytest.approx(0.0, abs=1.0)
    metres = true["speed_ground_mps"][moving].sum()
    assert row.motoring_wh_per_m == pytest.approx(watts[moving].sum() / 3600 / metres, rel=0.02)
    assert any("wrong sign" in remark for remark in answer.remarks)
    (net,) = [r.energy.mid for r in answer.ledger if r.text == "given by the pack, net"]
    assert net == pytest.approx(watts[moving].sum() / 3600, rel=0.02)
    assert answer.sag[0].current_a > 0


def test_a_track_alone_has_no_energy_rather_than_none_used(tmp_path):
    """GPS only, as from a GPX file: not measured is a state of its own."""
    speed = {"speed_ground_mps": outing()["speed_ground_mps"]}
    with log(tmp_path / "log.sqlite", speed) as opened:
        rows = trips(opened)
        said = text.trips(rows) + text.review(review(opened))
    assert [row.energy_out_wh for row in rows] == [None]
    assert "0 Wh" not in said
    assert "the energy not measured" in " ".join(said.split())


def test_a_water_log_without_gps_teaches_the_hull_s_curve(tmp_path):
    """Log and compass instead of a receiver: the trip is found and its minutes are points."""
    true = outing()
    values = {
        "pack_voltage_v": true["pack_voltage_v"],
        "pack_current_a": true["pack_current_a"],
        "speed_water_mps": true["speed_ground_mps"],
        "heading_magnetic_deg": np.full(len(true["speed_ground_mps"]), 85.0),
    }
    with log(tmp_path / "log.sqlite", values) as opened:
        answer = hull_state(opened)
        (row,) = trips(opened)
    assert row.distance_m is None  # over the ground nothing is known
    assert answer.minutes > 10
    assert any(point.seen for point in answer.curve)


def test_at_one_power_the_controller_tells_that_the_shunt_is_reversed(tmp_path):
    """Half an hour at 40 A: the voltage answers to no step. 40 A x volts by hand."""
    amps = np.where(np.arange(2400) < 600, 0.0, 40.0)
    volts = CELLS * chemistry("lfp").ocv_v(0.8 - np.cumsum(amps) / 3600 / AH, 25.0, -1.0)
    true = {
        "pack_voltage_v": volts,
        "pack_current_a": -amps,
        "controller_voltage_v": volts,
        "controller_current_a": amps,
        "speed_ground_mps": np.where(amps > 5, 3.0, 0.05),
    }
    with log(tmp_path / "log.sqlite", true) as opened:
        (row,) = trips(opened)
    spent = float((volts * amps).sum()) / 3600
    assert row.energy_out_wh == pytest.approx(spent, rel=0.02)
    assert row.charge_end.low < 0.8 - 20.0 / AH < row.charge_end.high
