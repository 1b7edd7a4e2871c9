"""What standing flags say to do, for the next action beside them."""

import pytest

from analyzer.answers.flags import first_acts
from tests.support import invented


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


def test_the_newest_warning_is_heeded_before_a_notice():
    notice = invented.flag(1, "notice", kind="motor_hot", first_action="Ease the power.")
    newest = invented.flag(3, "warning", first_action="Slow down.")
    older = invented.flag(2, "warning", first_action="Clean the lug.")
    assert first_acts([notice, newest, older]) == ("", "Slow down.")


def test_an_urgent_flag_is_told_apart():
    flags = [invented.flag(1, "warning", first_action="Slow down."),
             invented.flag(2, "act now", first_action="Take power off.")]  # fmt: skip
    assert first_acts(flags) == ("Take power off.", "Slow down.")


def test_without_a_flag_nothing_is_said():
    assert first_acts([]) == ("", "")
