"""Sizes of bad joints on invented boats by the simulator's cable physics, whose truth is known:
lugs from bare ones in a draught to ones on a busbar, unlike the demo's and the analyzer's prior.
"""

import math
from collections.abc import Iterable, Iterator

import numpy as np
import pytest

from analyzer.series.series import Series
from analyzer.thermal.cables import CableGroup
from logger.boat import Cable
from tests.support.joint_boat import JointDay, joint_day


def sizes(day: JointDay) -> list[tuple[bool, float]]:
    """Whether the bad joint's size held the truth, and its width over it: first found, and last."""
    group, per, found = CableGroup(day.cables), 150, []
    for k in range(0, day.series.n, per):
        group.update(day.series.cut(k, k + per))
        heating = [d for d in group.detections() if d.kind == "lug_heating"]
        assert all("battery negative" in d.subject for d in heating)
        if heating:
            size = heating[0].size
            rows = {row.name: row for row in group.rows(heating)}
            assert rows["battery_negative"].excess_resistance == size
            true = day.excess_ohm[min(k + per, day.series.n) - 1]
            found.append((size.low <= true <= size.high, (size.high - size.low) / true))
    return [found[0], found[-1]] if found else []


def test_sizes_hold_the_truth_with_other_joints_than_the_demo_s():
    """By the drop and by heat, as it is found and at the end; 80 % of them, and by the drop far
    narrower than the factor of two that heat leaves.
    """
    rows = [row for seed in range(200, 224) for row in sizes(joint_day(seed, faulty=True))]
    held, width = np.array(rows).T
    print(
        f"\n{held.mean():.0%} of {len(held)} sizes held; width {np.median(width):.2f} of the truth"
    )
    assert len(rows) > 30
    # 80 %, less two standard deviations of counting so many.
    assert held.mean() >= 0.8 - 2 * math.sqrt(0.16 / len(held))
    assert np.median(width) < 0.7


def test_sizes_by_heat_alone_hold_the_truth():
    rows = [row for seed in range(300, 312)
            for row in sizes(joint_day(seed, faulty=True, meters=False))]  # fmt: skip
    held = np.array(rows)[:, 0]
    print(f"\n{held.mean():.0%} of {len(held)} sizes by heat held")
    assert held.mean() >= 0.8 - 2 * math.sqrt(0.16 / len(held))


def test_nothing_is_found_on_sound_boats():
    for seed in range(400, 416):
        day = joint_day(seed, faulty=False, meters=seed % 2 == 0)
        group = CableGroup(day.cables)
        for k in range(0, day.series.n, 150):
            group.update(day.series.cut(k, k + 150))
            assert not group.detections(), seed
        for row in group.rows([]):
            assert row.excess_resistance.low == row.excess_resistance.mid == 0.0


def blamed(days: Iterable[JointDay], *, measured: bool = False) -> int:
    """On how many boats a lug is blamed. measured: Whether the controller's temperature is."""
    return sum(
        is_blamed(day.cables, day.with_controller() if measured else day.series) for day in days
    )


def is_blamed(cables: tuple[Cable, ...], series: Series) -> bool:
    """Whether a lug is blamed in the course of a day."""
    group = CableGroup(cables)
    for k in range(0, series.n, 150):
        group.update(series.cut(k, k + 150))
        if group.detections():
            return True
    return False


def hot_days(seeds: range, *, meters: bool, faulty: bool = False) -> Iterator[JointDay]:
    """Boats with a controller 70 K above the air, and a lug on it that may loosen."""
    for seed in seeds:
        yield joint_day(seed, faulty=faulty, meters=meters, controller_k=70.0, bad=2)


@pytest.mark.parametrize("meters", [True, False])
@pytest.mark.parametrize("measured", [True, False])
def test_a_lug_that_a_controller_warms_is_not_blamed(meters, measured):
    """By heat alone 11 of these 12 were once, by heat and drop 5."""
    assert blamed(hot_days(range(500, 512), meters=meters), measured=measured) == 0


@pytest.mark.parametrize("measured", [True, False])
def test_most_loose_lugs_on_a_hot_controller_are_found(measured):
    """The controller's own temperature tells its heat from the joint's: 11 of these 16 by it, 9
    without; the floor is half.
    """
    found = blamed(hot_days(range(520, 536), meters=False, faulty=True), measured=measured)
    print(f"\n{found} of 16 loose lugs on a hot controller found")
    assert found >= 8


@pytest.mark.xfail(strict=True, reason="11 of 16 found, the floor is 14: 0.4 to 0.9 mohm hide")
def test_nearly_all_loose_lugs_on_a_hot_controller_are_found():
    assert blamed(hot_days(range(520, 536), meters=True, faulty=True), measured=True) >= 14
