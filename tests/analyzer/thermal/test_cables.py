"""Cables together, on an invented day whose joint is known to loosen: what is measured has one
figure, and what is not measured is no claim."""

import math

import numpy as np
import pytest

from analyzer.estimation.detection import Detection
from analyzer.series.series import Series
from analyzer.thermal.cables import CableGroup, _heats
from tests.support.joint_boat import JointDay, joint_day

PROBE = "probe_battery_negative_temp_c"


@pytest.fixture(scope="module")
def day() -> JointDay:
    """A lug that ends with 2.5 mohm too much."""
    return joint_day(6, faulty=True)


def without(day: JointDay, channel: str, from_s: float) -> Series:
    """The same day with a channel silent from a time on."""
    values = dict(day.series.values)
    values[channel] = np.where(np.arange(day.series.n) * 2.0 < from_s, values[channel], np.nan)
    return Series(0, 2.0, day.series.n, values)


def heating(group: CableGroup) -> list[Detection]:
    return [d for d in group.detections() if d.kind == "lug_heating"]


def test_a_bad_joint_has_one_size_in_finding_and_row(day):
    group = CableGroup(day.cables)
    group.update(day.series)
    (found,) = heating(group)
    rows = {row.name: row for row in group.rows([found])}
    assert found.key == "joint/battery_negative"
    assert found.size.low < day.excess_ohm[-1] < found.size.high
    assert rows["battery_negative"].excess_resistance == found.size
    assert "controller_voltage_v" in found.size.used
    assert f"{found.size.mid * 1e3:.2g} mΩ" in found.text
    for name in ("battery_positive", "controller_positive"):
        size = rows[name].excess_resistance
        assert (size.mid, size.low) == (0.0, 0.0)
        assert size.high >= 0.0
        assert "nothing says" in size.reason


@pytest.mark.parametrize("more_k", [-1.2, 0.0, 0.4])
def test_no_figure_is_told_of_a_joint_that_is_no_warmer(more_k):
    said = _heats("lug of battery negative", more_k, "its partner", 32.0)
    assert said == "At 32 A the lug of battery negative heats no more than its partner would."
    warmer = _heats("lug of battery negative", 9.6, "a sound one", 80.0)
    assert "heats about 10 K more than a sound one would at 80 A." in warmer


def test_one_chunk_is_as_many(day):
    whole, pieces = CableGroup(day.cables), CableGroup(day.cables)
    whole.update(day.series)
    for k in range(0, day.series.n, 300):
        pieces.update(day.series.cut(k, k + 300))
    assert heating(whole) == heating(pieces)


def test_without_a_voltmeter_heat_says_so_and_reaches_wider(day):
    group = CableGroup(day.cables)
    group.update(without(day, "controller_voltage_v", 0.0))
    (found,) = heating(group)
    assert "As far as heat tells" in found.text
    assert found.size.high > 3 * found.size.low
    assert found.size.used == (PROBE, "pack_current_a")


def test_a_probe_that_dies_makes_no_claim_of_now(day):
    """It read a bad joint; a quarter of an hour later nothing is said but that it is silent."""
    group, dies_s = CableGroup(day.cables), 9900.0
    series = without(day, PROBE, dies_s)
    at = round(dies_s / 2.0)
    group.update(series.cut(0, at))
    assert heating(group)
    group.update(series.cut(at, series.n))
    assert not heating(group)
    row = {r.name: r for r in group.rows([])}["battery_negative"]
    for said in (row.found_rise, row.excess_resistance, row.settles_at, row.crosses_limit_in):
        assert said.mid is None
        assert said.reason == "its probe is silent"
    # The trip still keeps what was measured while it spoke.
    assert group.summary()["battery_negative"]["rise_k"] > 0.0


def test_a_probe_dead_from_the_first_is_silent_and_so_are_its_trips(day):
    group = CableGroup(day.cables)
    group.update(without(day, PROBE, 0.0))
    assert not heating(group)
    assert "battery_negative" not in group.summary()
    assert {r.name: r for r in group.rows([])}["battery_negative"].settles_at.mid is None


def test_without_a_current_nothing_is_said_of_the_present_load(day):
    group = CableGroup(day.cables)
    group.update(without(day, "pack_current_a", 9000.0))
    for row in group.rows(heating(group)):
        assert row.settles_at.reason == "its current is not measured"
    assert all(math.isnan(m.settles_c()) or m.load == 0.0 for m in group.monitors)


def test_a_sound_lug_is_not_blamed_for_its_partner_s_swings():
    """2.5 mohm in a bare lug swing it by 40 K; the other pole stays as cool as the air."""
    day = joint_day(210, faulty=True)
    group = CableGroup(day.cables)
    for k in range(0, day.series.n, 150):
        group.update(day.series.cut(k, k + 150))
        assert all(d.key == "joint/battery_negative" for d in heating(group))
    assert heating(group)


def test_a_lug_that_something_unknown_warms_is_not_blamed():
    """70 K above the air at full current, a name that tells no device, and a loop with no room for
    what heat alone would say.
    """
    warm = joint_day(501, faulty=False, controller_k=70.0)
    *others, third = warm.cables
    group, by_heat = CableGroup((*others, third.model_copy(update={"name": "third"}))), False
    for k in range(0, warm.series.n, 300):
        group.update(warm.series.cut(k, k + 300))
        assert not group.detections()
        by_heat = by_heat or any(m.loosening for m in group.monitors)
    assert by_heat
    assert group.loop.most_excess_ohm() < 0.5e-3
