"""Each device of the guide's list: what it may be, which of its names fill what, and what it tells
now as proof."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analyzer.faces import format
from analyzer.faces.web.set_up import plugged
from analyzer.faces.web.set_up.plugged import Choice, Plug, Slot, Told, Trials
from logger.errors import LoggerError

MOST_TOLD = 8  # values beside a device: enough to know it by, assumed
CURRENT = "pack_current_a"
FIRST = ("pack_voltage_v", CURRENT, "pack_soc_frac")


@dataclass(frozen=True)
class Row:
    """One device. slots: with the field's name and its value; told, trouble: empty where none."""

    plug: Plug
    choices: tuple[Choice, ...]
    chosen: str
    slots: tuple[tuple[Slot, str, str], ...] = ()
    turned: bool = False
    told: str = ""
    trouble: str = ""

    @property
    def first_slots(self) -> tuple[tuple[Slot, str, str], ...]:
        """Those that every boat wants."""
        return tuple(row for row in self.slots if row[0].channel in FIRST)

    @property
    def more_slots(self) -> tuple[tuple[Slot, str, str], ...]:
        """The others."""
        return tuple(row for row in self.slots if row[0].channel not in FIRST)

    @property
    def has_current(self) -> bool:
        """Whether the battery's current is among the slots."""
        return any(slot.channel == CURRENT for slot, _, _ in self.slots)

    @property
    def turned_key(self) -> str:
        """The field that says which way the current counts."""
        return field(self.plug, "turned")


def field(plug: Plug, channel: str) -> str:
    """A slot's field in the form."""
    return f"plug.{plug.name}|{channel}"


def rows(plugs: Sequence[Plug], form: Mapping[str, str], trials: Trials, listen: bool) -> list[Row]:
    """The list.

    Args:
        listen: Also try each device that was chosen, for some seconds.
    """
    files = trials.files()
    found = []
    for plug in plugs:
        chosen = form.get(f"plug.{plug.name}") or plugged.likely(plug)
        row = Row(plug, plugged.choices(plug, files), chosen)
        found.append(_tried(row, form, trials) if listen and chosen else row)
    return found


def _tried(row: Row, form: Mapping[str, str], trials: Trials) -> Row:
    plug, chosen = row.plug, row.chosen
    slots: tuple[tuple[Slot, str, str], ...] = ()
    told, trouble = "", ""
    try:
        if plugged.has_names(chosen):
            offered = trials.slots(plug.place, chosen)
            keys = [field(plug, slot.channel) for slot in offered]
            held = [form.get(k, s.likely) for k, s in zip(keys, offered, strict=True)]
            slots = tuple(zip(offered, keys, held, strict=True))
            form = {**form, **dict(zip(keys, held, strict=True))}
        source = plugged.source_of(plug, form, chosen, trials)
        told = _words(trials.told(source["kind"], source["options"])) if source else ""
    except LoggerError as error:
        trouble = str(error)
    turned = form.get(field(plug, "turned")) == "yes"
    return Row(plug, row.choices, chosen, slots, turned, told, trouble)


def _words(told: Sequence[Told]) -> str:
    """What a device tells now; that it tells nothing is said too."""
    if not told:
        return "nothing that can be read came in these seconds"
    shown = [f"{one.text} {format.reading(one.value, one.unit)}" for one in told[:MOST_TOLD]]
    more = len(told) - len(shown)
    return "; ".join(shown) + (f"; and {more} more" if more > 0 else "")
