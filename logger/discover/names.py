"""What a device tells by name: in a DBC file, in lines of text. Nothing is sent to it."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from logger.channels import find
from logger.decode.guess_map import channel_of
from logger.decode.signal_map import automatic
from logger.decode.unit_names import inside, known

NUMBER = r"-?\d+(?:\.\d+)?"
# "V=53.1", "V: 53.1 V", "V<tab>53100"; common practice, no source.
_PAIR = re.compile(
    rf"([A-Za-z][\w#%.]*)[ ]?(?:[=:]|\t)[ ]?({NUMBER})(?![\w.]*\d)"
    r"(?:[ ]?(m?[VAW]|%|°C|rpm)(?![\w=:\t]))?"
)
MOST_NAMES = 400  # a long DBC file's are no list for a phone; assumed
# Units that a number without one may be in -> by channel's unit; common practice, no source.
_BARE = {"V": ("V", "mV"), "A": ("A", "mA"), "frac": ("%", "frac"), "rps": ("rpm",)}


@dataclass(frozen=True, slots=True)
class Named:
    """One thing that a device tells.

    Args:
        name: As the device's file or lines have it.
        unit: As it spells it; empty where it says none.
        channel: Under which a way in without a map would keep it; empty: under none.
        value: The last that came, in the device's unit; None: none came.
    """

    name: str
    unit: str
    channel: str = ""
    value: float | None = None


def dbc_names(path: Path) -> tuple[Named, ...]:
    """The signals of a DBC file, "Message.Signal".

    Raises:
        BoatFileError: It cannot be read.
    """
    from logger.decode.can.dbc import load

    every = ((m.name, s) for m in load(path).messages for s in m.signals)
    found = [
        Named(f"{message}.{s.name}", s.unit or "", automatic(message, s.name, s.unit).channel)
        for message, s in every
    ]
    return tuple(found[:MOST_NAMES])


def line_names(lines: Iterable[str]) -> tuple[Named, ...]:
    """What lines of text tell by name, with the last value of each."""
    found: dict[str, Named] = {}
    for line in lines:
        for name, number, unit in _PAIR.findall(line):
            found[name] = Named(name, unit, "", float(number))
    return tuple(found.values())[:MOST_NAMES]


def line_pattern(names: Sequence[str]) -> str:
    """A pattern with a group "f0", "f1" ... for each name, wherever in a line it stands."""
    parts = (
        rf"(?:(?=.*?(?<!\w){re.escape(name)}[ ]?(?:[=:]|\t)[ ]?(?P<f{k}>{NUMBER})))?"
        for k, name in enumerate(names)
    )
    return "^" + "".join(parts)


def units_for(named: Named, channel: str) -> tuple[str, ...]:
    """The units in which a name can fill a channel; empty where it does not fit."""
    wanted = find(channel)
    unit = known(named.unit)
    if wanted is None:
        return ()
    if unit is not None and named.unit:
        return (unit,) if inside(unit)[0] == wanted.unit else ()
    # In a DBC file no unit is a plain number; lines of text often leave it out.
    return () if named.unit or named.channel else _BARE.get(wanted.unit, (wanted.unit,))


# Names of one letter that monitors give; common practice, no source.
_LETTERS = {"v": "pack_voltage_v", "u": "pack_voltage_v", "i": "pack_current_a"}


def likely(names: Sequence[Named], channel: str) -> Named | None:
    """The name that reads most like a channel's; None where none does."""
    fits = [n for n in names if units_for(n, channel) and _channel(n.name) == channel]
    return min(fits, key=lambda n: len(n.name), default=None)


def _channel(name: str) -> str:
    return _LETTERS.get(name.lower()) or channel_of(_words(name))


def _words(name: str) -> str:
    """ "BatteryStatus.PackVoltage" as "Battery Status Pack Voltage"."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])|[._]+", " ", name)
