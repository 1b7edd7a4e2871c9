"""How inputs stand: by the age of the newest reading against the channel's own interval.

What counts as silence is the flag's own rule: ten intervals, thirty seconds at the least for the
pack and ninety for the rest.
"""

import numpy as np
import pytest

from analyzer.estimation.ground import Ground, standing_of
from analyzer.grounds import decide
from analyzer.grounds.decide import SILENT_S, charge_lost, grounds
from analyzer.grounds.plausible import BY_FINDING
from logger.boat import Hotel
from logger.reading import EXACT, Block, Group
from logger.store import Store
from tests.support.motor_boat import motor_boat

S = 1_000_000
END_S = 1200
BOAT = motor_boat(hotel=Hotel(power_w=40.0))
STEADY = {
    "pack_voltage_v": 51.0,
    "pack_current_a": 60.0,
    "pack_soc_frac": 0.6,
    "controller_voltage_v": 50.5,
    "controller_current_a": 60.0,
    "speed_ground_mps": 2.0,
}


@pytest.fixture
def stand(tmp_path, monkeypatch):
    """How each input stands; given when each channel fell silent and how often it comes. [s]

    Nothing contradicts anything here: what does is tested with `plausible`.
    """
    monkeypatch.setattr(decide, "contradictions", lambda *_: {})

    def of(until_s: dict[str, float], every_s: float = 1.0) -> dict[str, Ground]:
        with Store.open(tmp_path / "log.sqlite", write=True) as store, store.writer("b") as writer:
            for name, last_s in until_s.items():
                t_s = np.arange(0.0, last_s + 1e-6, every_s)
                values = STEADY[name] + 0.01 * STEADY[name] * np.sin(t_s / 7)
                group = Group(name, (name,), (EXACT,))
                writer.add(Block(group, (t_s * S).astype(np.int64), values[:, None]))
        with Store.open(tmp_path / "log.sqlite") as store:
            rows = grounds(store, BOAT, END_S * S)
        return {row.input: row for row in rows}

    return of


@pytest.mark.parametrize(
    ("channel", "name", "limit_s"),
    [("pack_current_a", "pack current", 30), ("speed_ground_mps", "speed over ground", 90)],
)
def test_a_channel_is_measured_now_until_it_has_been_silent_for_its_time(
    stand, channel, name, limit_s
):
    just = stand({channel: END_S - limit_s})[name]
    assert just.standing == "measured now"
    assert just.until_utc_s == pytest.approx(END_S - limit_s)
    assert just.interval_s == pytest.approx(1.0)
    assert just.channel == channel


@pytest.mark.parametrize(
    ("channel", "name", "limit_s"),
    [("pack_current_a", "pack current", 30), ("speed_ground_mps", "speed over ground", 90)],
)
def test_and_measured_until_then_after(stand, channel, name, limit_s):
    late = stand({channel: END_S - limit_s - 1})[name]
    assert (late.standing, late.broken) == ("measured until", True)


def test_a_slow_channel_has_ten_of_its_own_intervals(stand):
    """Every 20 s: 200 s of silence are still now, 220 are not."""
    assert stand({"pack_voltage_v": END_S - 200}, 20.0)["pack voltage"].standing == "measured now"


def test_a_slow_channel_falls_silent_in_the_end(stand):
    assert stand({"pack_voltage_v": END_S - 220}, 20.0)["pack voltage"].standing == "measured until"


def test_the_controller_stands_in_for_a_silent_pack(stand):
    rows = stand({"pack_voltage_v": 600, "pack_current_a": 600,
                  "controller_voltage_v": END_S, "controller_current_a": END_S})  # fmt: skip
    assert [rows[n].standing for n in ("pack current", "pack voltage", "charge")] == [
        "bridged by", "bridged by", "bridged by"]  # fmt: skip
    assert rows["pack voltage"].by == "the controller's voltage"
    assert rows["pack current"].until_utc_s == pytest.approx(600)


def test_nothing_stands_in_where_the_pack_is_read(stand):
    rows = stand(dict.fromkeys(STEADY, float(END_S)))
    names = ("pack current", "pack voltage", "charge")
    assert [rows[n].standing for n in names] == ["measured now"] * 3


def test_a_controller_silent_too_stands_in_for_nothing(stand):
    rows = stand(dict.fromkeys(("pack_current_a", "controller_current_a"), 600.0))
    assert rows["pack current"].standing == "measured until"


def test_a_gauge_tells_the_charge_where_no_current_does(stand):
    charge = stand({"pack_soc_frac": END_S})["charge"]
    assert (charge.standing, charge.channel) == ("told by a device", "pack_soc_frac")


def test_a_gauge_takes_over_from_a_current_that_fell_silent(stand):
    rows = stand({"pack_current_a": 600, "pack_soc_frac": END_S})
    assert rows["charge"].standing == "told by a device"


def test_a_gauge_does_not_take_over_from_a_current_that_is_read(stand):
    rows = stand({"pack_current_a": END_S, "pack_soc_frac": END_S})
    assert rows["charge"].standing == "measured now"


def test_a_gauge_that_fell_silent_with_the_current_tells_nothing(stand):
    rows = stand({"pack_current_a": 600, "pack_soc_frac": 600})
    assert rows["charge"].standing == "measured until"


def test_what_is_not_measured_is_assumed_and_says_what(stand):
    rows = stand({"pack_current_a": END_S})
    assert rows["hotel load"] == Ground("hotel load", "assumed", "the boat file's 40 W")
    assert rows["pack temperature"].standing == "assumed"
    assert "speed over ground" not in rows, "nothing of it was ever read"


def test_with_nothing_read_the_charge_is_assumed(stand):
    assert stand({"speed_ground_mps": END_S})["charge"].standing == "assumed"


def test_a_contradicted_meter_keeps_its_name_and_says_by_what(stand, monkeypatch):
    by = {"pack current": "the pack's voltage"}
    monkeypatch.setattr(decide, "contradictions", lambda *_: by)
    rows = stand({"pack_current_a": END_S, "pack_voltage_v": END_S})
    for name in ("pack current", "charge"):
        assert rows[name].standing == "contradicted by"
        assert rows[name].by == "the pack's voltage"


@pytest.mark.parametrize("kind", ["current_scale", "voltage_impossible"])
@pytest.mark.parametrize("order", [1, -1])
def test_what_leaves_no_charge_comes_before_what_makes_it_doubtful(stand, monkeypatch, kind, order):
    name, by = BY_FINDING[kind]
    other = next(n for n in ("pack current", "pack voltage") if n != name)
    wrong = dict([(name, by), (other, "the controller's")][::order])
    monkeypatch.setattr(decide, "contradictions", lambda *_: wrong)
    rows = stand({"pack_current_a": END_S, "pack_voltage_v": END_S})
    assert rows["charge"].by == by
    assert charge_lost(tuple(rows.values()), END_S) is rows["charge"]


def current(standing: str, until_s: float = END_S) -> tuple[Ground, Ground]:
    return (Ground("pack current", standing, "", "pack_current_a", until_s),
            Ground("charge", standing, "", "", until_s))  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "lost"),
    [
        (current("measured now"), False),
        (current("bridged by", 0.0), False),
        (current("contradicted by", 0.0), False),
        (current("measured until", END_S - SILENT_S), False),
        (current("measured until", END_S - SILENT_S - 1), True),
        ((current("measured until", 0.0)[0], Ground("charge", "told by a device")), False),
        ((Ground("charge", "assumed"),), True),
        ((), False),
    ],
)
def test_a_charge_is_of_now_for_five_minutes_of_silence(rows, lost):
    assert (charge_lost(rows, END_S) is not None) is lost


def test_the_standing_of_an_input_is_found_by_its_name():
    rows = current("measured now")
    assert standing_of(rows, "charge") is rows[1]
    assert standing_of(rows, "sun") is None
