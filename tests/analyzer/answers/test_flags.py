"""What standing flags say to do, for the next action beside them."""

import numpy as np
import pytest

from analyzer.answers.flags import first_acts, standing
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
