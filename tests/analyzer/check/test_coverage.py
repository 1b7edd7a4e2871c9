"""What `check` says can be answered: by the pack's own meters, or by what stands in for them.

Each case: what stands how at the log's end, and whether the range is then told: by a charge that is
measured, bridged or told by a device, and by none without a current for more than five minutes.
"""

from dataclasses import replace

import pytest

from analyzer.check.coverage import Standings, missing, questions
from analyzer.estimation.ground import Ground
from tests.support.hull_boat import boat

END_S = 10_000.0
FAR, HOME = "How far will it take us, and which speed goes furthest?", "Can we get home"
CURRENT = Ground("pack current", "measured now", "", "pack_current_a", END_S)
VOLTS = Ground("pack voltage", "measured now", "", "pack_voltage_v", END_S)
SPEED = Ground("speed over ground", "contradicted by", "the positions", "speed_ground_mps", END_S)
METERS = frozenset({"pack_voltage_v", "pack_current_a"})


def charge(standing, by="", channel="", until_s=END_S):
    return Ground("charge", standing, by, channel, until_s)


def silent(for_s):
    until_s = END_S - for_s
    current = replace(CURRENT, standing="measured until", until_utc_s=until_s)
    return (VOLTS, current, charge("measured until", until_s=until_s))


GAUGE = charge("told by a device", "a device's own gauge", "pack_soc_frac")
BRIDGED = charge("bridged by", "the controller's current, the hotel load and the sun")
MEASURED = (VOLTS, CURRENT, charge("measured now"))
VOLTS_BRIDGED = Ground(
    "pack voltage", "bridged by", "the controller's voltage", "controller_voltage_v", END_S
)
AT_CONTROLLER = frozenset({"controller_voltage_v", "pack_current_a"})
CASES = {
    "the pack's own meters": (MEASURED, METERS, True, "from pack voltage and pack current"),
    "its current alone": (  # counted from a charge that nothing told
        (CURRENT, charge("measured now")), {"pack_current_a"}, False, "pack voltage"),
    "its current and the cells": (
        (CURRENT, charge("measured now")), {"pack_current_a", "cell_01_voltage_v"}, True,
        "from pack voltage and pack current"),
    "a gauge alone": ((GAUGE,), {"pack_soc_frac"}, True, "from a device's own gauge"),
    "the controller's current": (
        (BRIDGED,), {"controller_current_a"}, True, "from the controller's current"),
    "the controller's voltage for the pack's": (
        (VOLTS_BRIDGED, CURRENT, charge("measured now")), AT_CONTROLLER, True,
        "from the controller's voltage and pack current"),
    "a current silent for four minutes": (silent(240), METERS, True, "pack current"),
    "a current silent for six minutes": (silent(360), METERS, False, "current, silent for 6 min"),
    "nothing that measures it": (
        (charge("assumed"),), {"speed_ground_mps"}, False, "wants pack voltage and pack current"),
    "no log": ((), frozenset(), False, "wants pack voltage and pack current"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_how_far_is_answered_by_what_stands_in(name):
    rows, arriving, answered, why = CASES[name]
    found = {row.question: row for row in questions(boat(), arriving, Standings(rows, END_S))}
    assert found[FAR].answerable is answered
    assert why in found[FAR].why
    assert found["How much charge is left?"].answerable is answered


def rows_with(*grounds, **more):
    arriving = METERS | {"speed_ground_mps", "latitude_deg", "heading_true_deg", "shaft_speed_rps"}
    asked = questions(boat(), arriving, Standings((*MEASURED, *grounds), END_S, **more))
    return {row.question: row for row in asked}


def test_a_ground_speed_that_is_contradicted_tells_no_stream_and_leaves_the_range():
    """The power stands in for it."""
    for question in ("What is the stream doing?", "Is the bottom foul?"):
        assert rows_with()[question].answerable
        assert not rows_with(SPEED)[question].answerable
        assert "nothing contradicts" in rows_with(SPEED)[question].why
    assert rows_with(SPEED)[FAR].answerable


def test_a_current_of_the_wrong_sign_answers_nothing():
    row = rows_with(SPEED, reversed="a pack current with the right sign")[FAR]
    assert not row.answerable
    assert "right sign" in row.why


def test_one_more_sensor_is_named_where_it_is_not_there():
    rows = questions(boat(), METERS, Standings(MEASURED, END_S))
    (why,) = [row.why for row in rows if row.question == FAR]
    assert "with ground speed (GPS), it is tied to the ground" in why


@pytest.mark.parametrize("peak_w", [0.0, 100.0])
def test_solar_power_is_asked_for_where_there_are_panels(peak_w):
    plain = boat()
    panels = plain.model_copy(update={"solar": plain.solar.model_copy(update={"peak_w": peak_w})})
    rows = questions(panels, METERS, Standings(MEASURED, END_S))
    (why,) = [row.why for row in rows if row.question == FAR]
    assert ("with solar power" in why) == (peak_w > 0)


def bank():
    """Sixteen cells in four factory blocks."""
    plain = boat()
    pack = plain.pack.model_copy(update={"blocks_in_series": 4})
    return plain.model_copy(update={"pack": pack})


@pytest.mark.parametrize("name", ["cell_01_voltage_v", "cell_16_voltage_v", "block_1_voltage_v",
                                  "block_4_voltage_v"])  # fmt: skip
def test_any_cell_or_block_of_the_pack_tells_of_cells(name):
    asked = {row.question: row for row in questions(bank(), METERS | {name})}
    assert asked["Is a cell falling behind the others?"].answerable


@pytest.mark.parametrize("name", ["cell_17_voltage_v", "cell_00_voltage_v", "block_5_voltage_v",
                                  "block_0_voltage_v"])  # fmt: skip
def test_a_cell_that_the_pack_does_not_have_tells_nothing(name):
    asked = {row.question: row for row in questions(bank(), METERS | {name})}
    assert not asked["Is a cell falling behind the others?"].answerable


def test_the_rest_of_a_family_is_missed_where_one_of_it_arrives():
    gps = {"latitude_deg", "longitude_deg", "speed_ground_mps"}
    assert missing(bank(), METERS | gps) == ()
    rest = missing(bank(), METERS | gps | {"cell_02_voltage_v"})
    assert rest == ("cell_01_voltage_v", *(f"cell_{n:02d}_voltage_v" for n in range(3, 17)))
    rest = missing(bank(), METERS | gps | {"block_4_voltage_v"})
    assert rest == tuple(f"block_{n}_voltage_v" for n in (1, 2, 3))
