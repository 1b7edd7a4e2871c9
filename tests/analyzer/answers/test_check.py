"""`check` on a real log: what arrives, what is missing, what can be answered."""

from pathlib import Path

import numpy as np
import pytest

from analyzer.answers.check import check
from analyzer.estimation.results import CheckAnswer
from logger.boat import Boat, Cable, Motor, Pack
from logger.reading import (
    Block,
    Group,
    Quantum,
    UtcFix,
)
from logger.store import Store
from tests.support.motor_boat import motor_boat

N = 3600


@pytest.fixture
def boat() -> Boat:
    return motor_boat(
        pack=Pack(chemistry="lfp", cells_in_series=4, rated_capacity_ah=100),
        motor=Motor(rated_power_w=500),
        cable=(Cable(name="positive", size_awg="2/0", length_m=2, probe="lug"),),
    )


def logged(path: Path, channels: dict[str, np.ndarray], hz: float = 1.0) -> Store:
    """A log that holds these channels, one group each."""
    utc_us = 1_790_000_000_000_000  # September 2026: earlier would be a receiver rolled over
    with Store.open(path, write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, utc_us, "gnss", 0.1))
        for name, values in channels.items():
            t_us = (np.arange(len(values)) * 1e6 / hz).astype(np.int64)
            group = Group(name, (name,), (Quantum(0.001),))
            writer.add(Block(group, t_us, values.reshape(-1, 1)))
        writer.close()
    return Store.open(path)


def outing() -> dict[str, np.ndarray]:
    """4 LFP cells behind 4 mΩ; the motor on and off every minute."""
    current = np.where(np.arange(N) // 60 % 2, 40.0, 2.0)
    pack = 13.2 - 0.004 * current
    cells = {f"cell_{n:02d}_voltage_v": pack / 4 for n in range(1, 5)}
    return {"pack_voltage_v": pack, "pack_current_a": current, **cells}


def answer_of(boat: Boat, path: Path, channels: dict[str, np.ndarray]) -> CheckAnswer:
    with logged(path, channels) as store:
        return check(boat, store, ("serial port ttyUSB0",))


def answerable(answer: CheckAnswer) -> dict[str, bool]:
    return {row.question: row.answerable for row in answer.questions}


def test_check_without_a_log_answers_nothing_and_breaks_nothing(boat: Boat):
    answer = check(boat, None, ("CAN bus can0",))
    assert answer.devices == ("CAN bus can0",)
    assert answer.channels == ()
    assert "pack_voltage_v" in answer.missing_channels
    assert not any(row.answerable for row in answer.questions)


def test_check_of_an_empty_log(boat: Boat, tmp_path: Path):
    Store.open(tmp_path / "log.sqlite", write=True).close()
    with Store.open(tmp_path / "log.sqlite") as store:
        assert check(boat, store).channels == ()


def test_check_lists_rate_age_and_value(boat: Boat, tmp_path: Path):
    channels = outing()
    channels["pack_temp_c"] = np.linspace(10.0, 19.0, N - 600)  # silent for the last ten minutes
    rows = {row.name: row for row in answer_of(boat, tmp_path / "l.sqlite", channels).channels}
    assert rows["pack_voltage_v"].rate_hz == pytest.approx(1.0)
    assert rows["pack_voltage_v"].age_s == 0
    assert rows["pack_temp_c"].age_s == pytest.approx(600)
    assert rows["pack_temp_c"].value == pytest.approx(19.0)
    assert rows["pack_temp_c"].rate_hz == pytest.approx(1.0)


def test_check_of_a_sound_boat_finds_nothing(boat: Boat, tmp_path: Path):
    answer = answer_of(boat, tmp_path / "l.sqlite", outing())
    assert answer.findings == ()
    asked = answerable(answer)
    assert asked["How much charge is left?"]
    assert asked["Is a cell falling behind the others?"]
    assert asked["Is the shunt the right way round?"]
    assert asked["How far will it take us, and which speed goes furthest?"]
    assert not asked["Can we get home, and when must we turn?"]
    assert set(answer.missing_channels) >= {"probe_lug_temp_c", "speed_ground_mps"}


def test_check_names_what_is_wrong(boat: Boat, tmp_path: Path):
    channels = outing()
    channels["pack_current_a"] = -channels["pack_current_a"]
    channels["pack_voltage_v"] = channels["pack_voltage_v"] + 3.3
    kinds = {f.kind for f in answer_of(boat, tmp_path / "l.sqlite", channels).findings}
    assert kinds == {"shunt_reversed", "cells_do_not_add_up", "voltage_impossible"}


def test_check_says_which_cell_is_missing(boat: Boat, tmp_path: Path):
    channels = outing()
    del channels["cell_03_voltage_v"]
    answer = answer_of(boat, tmp_path / "l.sqlite", channels)
    assert "cell_03_voltage_v" in answer.missing_channels
    assert "cell_01_voltage_v" not in answer.missing_channels


def test_check_says_what_one_more_sensor_would_buy(boat: Boat, tmp_path: Path):
    channels = outing()
    channels["speed_ground_mps"] = np.full(N, 2.0)
    answer = answer_of(boat, tmp_path / "l.sqlite", channels)
    why = {row.question: row.why for row in answer.questions}
    text = why["How far will it take us, and which speed goes furthest?"]
    assert "from pack voltage and pack current" in text
    assert "ground speed" not in text, "that is there already"
    assert "with heading (compass), the stream is told from the boat" in text


def test_check_compares_rests_by_their_voltage(boat: Boat, tmp_path: Path):
    # Rest at 3.40 V a cell (nearly full by any LFP curve), 55 Ah out of 100, rest at 3.25 V
    rest, run = 1500, 1800
    current = np.concatenate([np.zeros(rest), np.full(run, 110.0), np.zeros(rest)])
    volts = np.concatenate([np.full(rest, 13.6), np.full(run, 12.9), np.full(rest, 12.9)])
    channels = {"pack_voltage_v": volts, "pack_current_a": current}
    why = {
        row.question: row.why for row in answer_of(boat, tmp_path / "l.sqlite", channels).questions
    }
    assert (
        "55 % were counted out" in why["Does charge counted agree with the rests before and after?"]
    )


def test_check_tells_what_the_recorder_says_of_its_sources(boat: Boat, tmp_path: Path):
    path = tmp_path / "l.sqlite"
    logged(path, outing()).close()
    with Store.open(path, write=True) as store:
        store.put_health("recorder", {"gps": {"up": False, "trouble": "no such port"}}, None)
        (finding,) = check(boat, store).findings
    assert finding.text == "Source gps cannot be read: no such port."


@pytest.mark.parametrize(("sign", "answered"), [(1.0, True), (-1.0, False)])
def test_a_current_that_flows_against_the_controller_s_answers_nothing(
    boat: Boat, tmp_path: Path, sign: float, answered: bool
):
    """Held still, so that no voltage answers to a step: the controller alone can tell."""
    channels = {
        "pack_voltage_v": np.full(N, 13.0),
        "pack_current_a": np.full(N, sign * 32.0),
        "controller_voltage_v": np.full(N, 12.9),
        "controller_current_a": np.full(N, 31.0),
    }
    asked = answerable(answer_of(boat, tmp_path / "l.sqlite", channels))
    assert asked["How far will it take us, and which speed goes furthest?"] is answered
