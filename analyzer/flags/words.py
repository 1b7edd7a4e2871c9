"""What each kind of flag says: title, likely cause, the usual caution, what to do first."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Words:
    """What a kind of flag says; `{subject}` stands for what it is about.

    motor_off: What to do first with the motor off, where the first action is about its power.
    """

    title: str
    cause: str
    caution: str
    first_action: str
    motor_off: str = ""


SHORT = (
    "A pack this size drives thousands of amperes through a slipped spanner: isolate it first, "
    "insulated tools, no rings or watches."
)
LITHIUM = "Never bridge or reset the battery's protection to keep going."

WORDS = {
    "turn_back": Words(
        "turn for home now",
        "What is left above the reserve is needed for the way back.",
        "The figure is no promise: stream, wind and sea may change; keep a sail and anchor ready.",
        "Turn for home, and slow down.",
        "Turn for home.",
    ),
    "way_home": Words(
        "the way home may take more than the pack has above the reserve",
        "What is left above the reserve is about what the way home takes, or less.",
        "The figure is no promise: stream, wind and sea may change; keep a sail and anchor ready.",
        "Slow down; have a sail or another harbour ready.",
        "Have a sail or another harbour ready.",
    ),
    "lug_heating": Words(
        "{subject} heats more than its current explains",
        "A joint that has worked loose or corroded.",
        SHORT,
        "Slow down now. In harbour: isolate, clean and re-torque the joint, look at the crimp.",
        "In harbour: isolate, clean and re-torque the joint, look at the crimp.",
    ),
    "lug_hot": Words(
        "{subject} is near the heat it can bear",
        "A bad joint, or more current than the cable is for.",
        SHORT,
        "Take power off at once and let it cool; do not touch it. Be ready to sail or anchor.",
        "Leave the motor off until it has cooled; do not touch it.",
    ),
    "over_ampacity": Words(
        "{subject} carries more than its published ampacity",
        "The motor can draw more than this cable is rated for.",
        "Ratings depend on bundling and place; local codes and the fuse come first.",
        "Hold the power down, and plan a larger cable or a lower current limit.",
        "Plan a larger cable or a lower current limit.",
    ),
    "cell_resistance": Words(
        "{subject} sags more than the others under load",
        "Higher resistance: the cell itself, or its link or sense lead.",
        SHORT,
        "Ease the power; it will reach its cut-off first. In harbour check its links.",
        "In harbour check its links; under power it will reach its cut-off first.",
    ),
    "cell_charge": Words(
        "{subject} holds less charge than the others",
        "It was never brought to the same full, or it leaks.",
        LITHIUM,
        "Plan for less range; give the pack a long charge to full so that it can balance.",
    ),
    "cell_capacity": Words(
        "{subject} has less capacity than the others",
        "It has aged faster than the rest.",
        LITHIUM,
        "Plan by this cell, not by the mean; watch it through a full charge.",
    ),
    "cell_behind": Words(
        "{subject} is behind the others",
        "It holds less charge or has less capacity: which of them does not show yet.",
        LITHIUM,
        "Plan for less range; a charge to full, then a look at it when low, tells which it is.",
    ),
    "cell_low": Words(
        "{subject} is close to its cut-off",
        "The weakest cell is nearly empty, or the load is too high for it.",
        LITHIUM + " The protection may open without further warning.",
        "Ease the power now; have a sail or the anchor ready.",
        "Charge before motoring; leave the motor off where that can be.",
    ),
    "cell_high": Words(
        "{subject} is above its full voltage",
        "Charge is still going in while this cell is already full.",
        LITHIUM,
        "Stop charging, or take the regeneration off by slowing the propeller.",
    ),
    "pack_low": Words(
        "The controller will soon cut back",
        "The pack is nearly empty, or sags deeply at this load.",
        "The drive may weaken or stop without further warning.",
        "Ease the power now; have a sail or the anchor ready.",
        "Charge before motoring; leave the motor off where that can be.",
    ),
    "pack_high": Words(
        "The pack is above its full voltage",
        "Charge or regeneration goes on into a full pack.",
        LITHIUM,
        "Stop charging, or take the regeneration off by slowing the propeller.",
    ),
    "cold_charge": Words(
        "The pack is being charged below freezing",
        "A charger or regeneration is on while the cells are too cold.",
        "Lithium cells take lasting harm from charge below 0 °C.",
        "Stop the charge; warm the battery space first.",
    ),
    "pack_hot": Words(
        "{subject} is close to the heat it can bear",
        "Long high power, or a warm battery space without air.",
        "Smoke, smell or swelling: power off, leave the space, call for help.",
        "Ease the power and give the battery space air.",
        "Give the battery space air.",
    ),
    "motor_hot": Words(
        "The motor is close to its limit",
        "Long high power, or its cooling is blocked.",
        "Hot parts burn; let it cool before touching.",
        "Ease the power; look at the cooling water or the air path.",
        "Let it cool; look at the cooling water or the air path.",
    ),
    "controller_hot": Words(
        "The controller is close to its limit",
        "Long high power, or its cooling is blocked.",
        "It will cut the power back by itself, perhaps at a bad moment.",
        "Ease the power; give its heat sink air or water.",
        "Let it cool; give its heat sink air or water.",
    ),
    "over_current": Words(
        "More current than the pack is rated for",
        "Too much is asked of the pack.",
        LITHIUM + " The protection may open without further warning.",
        "Ease the power until the current is back inside the rating.",
        "Find what draws it; under motor stay inside the rating.",
    ),
    "over_charge_current": Words(
        "The pack is charged faster than it is rated for",
        "Charger, shore and regeneration together put in too much.",
        LITHIUM,
        "Lower the charge current or switch one source off.",
    ),
    "shunt_reversed": Words(
        "The current comes with the wrong sign",
        "The sign in the boat file, or the two sense leads at the shunt, are the wrong way round.",
        SHORT,
        "Believe no charge and no range until it is put right: `keelwatt check` says how.",
    ),
    "reserve": Words(
        "The reserve is reached",
        "The charge is down to what was set aside.",
        "A charge figure is an estimate; the last part goes fastest.",
        "Head for the nearest safe place at the speed that goes furthest; sail ready.",
        "Charge before motoring; under way head for the nearest safe place, sail ready.",
    ),
    "quiet": Words(
        "Nothing more comes from {subject}",
        "A plug, a wire or the device itself.",
        "Judgements that rest on it have stopped.",
        "Look at its plug and supply; `keelwatt check` shows what arrives.",
    ),
    "controller_fault": Words(
        "The controller reports a fault",
        "See the number in the controller's own manual.",
        "It may cut the power without further warning.",
        "Ease the power, and find the number in the manual.",
        "Find the number in the manual before motoring.",
    ),
}
