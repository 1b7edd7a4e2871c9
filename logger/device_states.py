"""States that CANopen devices tell as numbers, in words: drives (CiA 402) and nodes (CiA 301).

A channel with such numbers is known by its name: `..._status_word_code` of a drive and
`other_canopen_..._state_code` of a node.
"""

# Mask, bits and name of each state: CiA 402 (IEC 61800-7-201), status word 0x6041.
DRIVE_STATES = (
    (0x4F, 0x00, "not ready to switch on"),
    (0x4F, 0x40, "switch on disabled"),
    (0x6F, 0x21, "ready to switch on"),
    (0x6F, 0x23, "switched on"),
    (0x6F, 0x27, "operation enabled"),
    (0x6F, 0x07, "quick stop active"),
    (0x4F, 0x0F, "fault reaction active"),
    (0x4F, 0x08, "fault"),
)
WARNING_BIT = 1 << 7  # CiA 402
# Of a heartbeat: CiA 301.
NODE_STATES = {0: "booting", 4: "stopped", 5: "operational", 127: "pre-operational"}


def drive_state(status_word: int) -> str:
    """The state that a drive's status word tells; empty where it tells none."""
    found = (name for mask, bits, name in DRIVE_STATES if status_word & mask == bits)
    name = next(found, "")
    return f"{name}, with a warning" if name and status_word & WARNING_BIT else name


def words(channel: str, value: float | None) -> str:
    """A channel's value in words; empty where its numbers are no states known here."""
    if value is None or value != int(value):
        return ""
    if channel.endswith("_status_word_code"):
        return drive_state(int(value))
    if channel.startswith("other_canopen_") and channel.endswith("_state_code"):
        return NODE_STATES.get(int(value), "")
    return ""
