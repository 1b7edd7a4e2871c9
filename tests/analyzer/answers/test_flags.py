"""What standing flags say to do, for the next action beside them."""

import re

import numpy as np
import pytest

from analyzer.answers.flags import first_acts, standing
from analyzer.flags.words import WORDS
from analyzer.series.log import OpenLog
from logger.reading import EXACT, Block, Group
from logger.store import Store
from tests.support import invented
from tests.support.flag_records import flag_record
from tests.support.hull_boat import boat


@pytest.mark.parametrize(
    ("level", "kind", "heeded"),
    [
        ("notice", "turn_back", True),
        ("notice", "motor_hot", True),
        ("notice", "over_ampacity", True),
        ("warning", "quiet", True),
        ("notice", "quiet", False),  # a probe that fell silent says nothing of the speed
    ],
)
def test_a_flag_that_says_otherwise_is_heeded(level, kind, heeded):
    flag = invented.flag(1, level, kind=kind, first_action="Ease the power.")
    assert first_acts([flag]) == ("", "Ease the power." if heeded else "")


def test_an_urgent_flag_is_told_apart():
    flags = [invented.flag(1, "warning", first_action="Slow down."),
             invented.flag(2, "act now", first_action="Take power off.")]  # fmt: skip
    assert first_acts(flags) == ("Take power off.", "Slow down.")


def test_the_most_urgent_stand_first_and_the_newest_of_equals(tmp_path):
    group = Group("t", ("pack_voltage_v",), (EXACT,))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(Block(group, np.arange(60, dtype=np.int64), np.full((60, 1), 53.0)))
        writer.close()
        for at, level in enumerate(("warning", "notice", "act now", "warning", "notice")):
            store.add_flag(flag_record(level=level, raised_us=at))
        over = store.add_flag(flag_record(level="act now", raised_us=9))
        store.update_flag(over, cleared_us=10)
        found = [f.number for f in standing(OpenLog(store, boat()))]
    assert found == [3, 4, 1, 5, 2]


def test_without_a_flag_nothing_is_said():
    assert first_acts([]) == ("", "")


@pytest.mark.parametrize("kind", sorted(WORDS))
def test_nobody_is_told_to_ease_a_power_that_is_not_drawn(kind):
    about_power = re.compile(r"ease the power|slow down|power off|power down|at the speed", re.I)
    flag = invented.flag(1, "act now", kind=kind, first_action=WORDS[kind].first_action)
    assert first_acts([flag]) == (WORDS[kind].first_action, "")
    urgent, _ = first_acts([flag], motor_off=True)
    assert urgent
    assert not about_power.search(urgent)


@pytest.mark.parametrize(("silent_s", "doubted"), [(0, False), (3 * 3600, True)])
def test_a_reserve_whose_charge_is_not_known_any_more_says_so(tmp_path, silent_s, doubted):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        both = ("pack_voltage_v", "pack_current_a")
        t_us = np.arange(600, dtype=np.int64) * 1_000_000
        writer.add(Block(Group("a", both, (EXACT,) * 2), t_us, np.full((600, 2), 50.0)))
        if silent_s:  # the voltage alone goes on
            later_us = 600_000_000 + np.arange(0, silent_s, 10, dtype=np.int64) * 1_000_000
            alone = Group("b", both[:1], (EXACT,))
            writer.add(Block(alone, later_us, np.full((len(later_us), 1), 50.0)))
        writer.close()
        store.add_flag(flag_record(kind="reserve", raised_us=300_000_000))
        (flag,) = standing(OpenLog(store, boat()))
    assert ("the charge was last read 3 h ago" in flag.now) is doubted
