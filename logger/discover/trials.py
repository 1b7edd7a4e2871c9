"""A way in that is put together by choosing: what a device tells by name, which of it is wanted,
and what would then be recorded."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.channels import find
from logger.decode.unit_names import inside
from logger.discover import names as named
from logger.discover.listen import serial_text
from logger.discover.names import Named
from logger.discover.trial import TRIAL_S, tried
from logger.errors import BoatFileError, SourceError
from logger.units import to_inside

WANTED = (
    ("pack_voltage_v", "Battery voltage"),
    ("pack_current_a", "Battery current"),
    ("pack_soc_frac", "Charge, as the device says"),
    ("pack_temp_c", "Battery temperature"),
    ("controller_voltage_v", "Voltage at the controller"),
    ("controller_temp_c", "Controller temperature"),
    ("motor_temp_c", "Motor temperature"),
    ("motor_speed_rps", "Motor speed"),
)
BETWEEN = "|"  # a name and the unit it is taken in; no DBC name holds one


@dataclass(frozen=True, slots=True)
class Slot:
    """A channel to be filled. choices: value and words; likely: the value to begin with."""

    channel: str
    text: str
    choices: tuple[tuple[str, str], ...]
    likely: str


@dataclass(frozen=True, slots=True)
class Told:
    """What would be recorded now, in the unit used inside."""

    text: str
    value: float
    unit: str


class Trials:
    """Tries devices for a boat file.

    Args:
        folder: The boat file's; DBC files stand in it.
        seconds: How long each device is listened to.
    """

    def __init__(self, folder: Path, seconds: float = TRIAL_S) -> None:
        self._folder, self._seconds = folder, seconds

    def files(self) -> tuple[str, ...]:
        """The DBC files beside the boat file."""
        found = (file.name for file in self._folder.glob("*.[dD][bB][cC]"))
        return tuple(sorted(found))

    def slots(self, place: str, speaks: str) -> tuple[Slot, ...]:
        """What of a device's names may fill which channel; none where it has no names.

        Args:
            place: The port or bus.
            speaks: "can:dbc:FILE" or "text:BAUD".
        Raises:
            BoatFileError: The DBC file cannot be read.
            SourceError: The device cannot be listened to.
        """
        there = self._names(place, speaks)
        found = (_slot(channel, text, there) for channel, text in WANTED)
        return tuple(slot for slot in found if slot.choices)

    def _names(self, place: str, speaks: str) -> Sequence[Named]:
        kind, _, rest = speaks.partition(":")
        if kind == "text":
            try:
                return named.line_names(serial_text(place, int(rest), self._seconds))
            except OSError as error:
                raise SourceError(f"{place}: cannot be listened to ({error})") from error
        if not rest.startswith("dbc:"):
            return ()
        there = named.dbc_names(self._folder / rest.removeprefix("dbc:"))
        heard = _heard("can", self.way_in(place, speaks, {}), self._folder, self._seconds)
        return [
            Named(n.name, n.unit, n.channel, heard[n.channel]) if n.channel in heard else n
            for n in there
        ]

    def way_in(self, place: str, speaks: str, signals: Mapping[str, Any]) -> dict[str, Any]:
        """The options of a way in whose device tells by name.

        Args:
            signals: Name -> {channel, unit, sign}.
        """
        kind, _, rest = speaks.partition(":")
        if kind == "text":
            fields = {f"f{k}": entry for k, entry in enumerate(signals.values())}
            pattern = named.line_pattern(list(signals))
            return {"port": place, "baud": int(rest), "pattern": pattern, "signals": fields}
        options: dict[str, Any] = {"interface": "socketcan", "channel": place}
        options["decode"] = [{"dbc": rest.removeprefix("dbc:")}]
        return options | ({"signals": dict(signals)} if signals else {})

    def told(self, kind: str, options: Mapping[str, Any]) -> tuple[Told, ...]:
        """What a way in would record now.

        Raises:
            BoatFileError, SourceError: Why it cannot be said.
        """
        values = tried(kind, options, self._folder, self._seconds)
        known = ((find(name), value) for name, value in values.items())
        return tuple(Told(one.text or one.name, v, one.unit) for one, v in known if one is not None)


def _heard(
    kind: str, options: Mapping[str, Any], folder: Path, seconds: float
) -> Mapping[str, float]:
    """What comes under names of its own; nothing where nobody can listen now."""
    try:
        return tried(kind, options, folder, seconds)
    except (BoatFileError, SourceError):
        return {}


def _slot(channel: str, text: str, there: Sequence[Named]) -> Slot:
    choices = [
        (f"{one.name}{BETWEEN}{unit}", _words(one, unit))
        for one in there
        for unit in named.units_for(one, channel)
        if _can_be(one, unit, channel)
    ]
    best = named.likely(there, channel)
    begin = next((v for v, _ in choices if best and v.startswith(best.name + BETWEEN)), "")
    return Slot(channel, text, tuple(choices), begin)


def _can_be(one: Named, unit: str, channel: str) -> bool:
    """Whether the value that came lies within the channel's limits in a unit."""
    wanted, value = find(channel), _inside(one, unit)
    return wanted is None or value is None or wanted.low <= value <= wanted.high


def _inside(one: Named, unit: str) -> float | None:
    """The value that came, in the unit used inside; a recorded channel's is so already."""
    if one.value is None or one.channel:
        return one.value
    return to_inside(one.value, unit)


def _words(one: Named, unit: str) -> str:
    """ "Status.Volts: 53.1 V" where a value came."""
    bare = "" if one.unit else f", as {unit}"
    value = _inside(one, unit)
    if value is None:
        return f"{one.name}{bare}"
    within = inside(unit)[0]
    shown = f"{100 * value:.0f} %" if within == "frac" else f"{value:.4g} {within}"
    return f"{one.name}{bare}: {shown}"
