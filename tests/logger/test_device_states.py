"""States of CANopen devices in words, against the canopen library's own tables."""

import pytest
from canopen.nmt import NMT_STATES
from canopen.profiles.p402 import State402

from logger.device_states import NODE_STATES, drive_state, words


def theirs(word):
    """The state as the library tells it; it too takes the first that fits."""
    for name, (mask, bits) in State402.SW_MASK.items():
        if word & mask == bits:
            return name.lower()
    return ""


def test_every_status_word_is_the_state_that_the_library_tells():
    differ = [
        word
        for word in range(1 << 16)
        if drive_state(word).removesuffix(", with a warning") != theirs(word)
    ]
    assert differ == []


def test_states_of_nodes_have_the_library_s_names():
    named = {number: name.lower() for number, name in NMT_STATES.items() if number in NODE_STATES}
    assert named == NODE_STATES | {0: "initialising"}  # before it says that it has booted


@pytest.mark.parametrize(
    ("channel", "value", "says"),
    [
        ("other_canopen_5_status_word_code", 0x0237, "operation enabled"),
        ("other_drive_status_word_code", 0x02B7, "operation enabled, with a warning"),
        ("other_drive_status_word_code", 0x0218, "fault"),
        ("other_canopen_5_state_code", 127, "pre-operational"),
        ("other_canopen_5_state_code", 99, ""),
        ("controller_fault_code", 5, ""),
        ("other_drive_status_word_code", None, ""),
    ],
)
def test_words_of_a_channel(channel, value, says):
    assert words(channel, value) == says
