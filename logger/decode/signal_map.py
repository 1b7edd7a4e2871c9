"""Which of a device's signals land in which channel: the `signals` table of boat.toml."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.unit_names import channel_name, inside, known
from logger.errors import BoatFileError
from logger.units import to_inside


@dataclass(frozen=True, slots=True)
class Target:
    """Where a signal goes.

    Args:
        channel: Name of a channel.
        unit: What the device's number is in; a key of `units.TO_INSIDE`.
        sign: -1 where the device counts the other way round.
    """

    channel: str
    unit: str
    sign: int = 1

    def value(self, number: float, counters: Counters) -> float | None:
        """A device's number in the channel's unit; None, and counted, beyond its limits."""
        value = to_inside(number, self.unit) * self.sign
        channel = find(self.channel)
        if channel and channel.low <= value <= channel.high:
            return value
        counters.add("out_of_limits")
        return None


def read_target(key: str, entry: object, device_unit: str | None) -> Target:
    """One entry of a `signals` table.

    Args:
        key: "Message.Signal", for the error's text.
        entry: {channel = "...", sign = 1 or -1, unit = "..."}; unit and sign may be absent.
        device_unit: The unit that the device's own file gives.
    Raises:
        BoatFileError: The entry names no channel, or its unit does not fit the channel.
    """
    if isinstance(entry, str):
        entry = {"channel": entry}
    if not isinstance(entry, Mapping):
        raise BoatFileError(f"signals, {key}: wants {{channel = ...}}, got {entry!r}")
    extra = set(entry) - {"channel", "sign", "unit"}
    if extra:
        raise BoatFileError(
            f"signals, {key}: knows channel, sign and unit, got {', '.join(sorted(extra))}"
        )
    channel = find(str(entry.get("channel", "")))
    if channel is None:
        raise BoatFileError(
            f"signals, {key}: wants the name of a channel (or other_...), "
            f"got {entry.get('channel')!r}"
        )
    sign = entry.get("sign", 1)
    if sign not in (1, -1):
        raise BoatFileError(f"signals, {key}: sign wants 1 or -1, got {sign!r}")
    unit = _unit(key, entry.get("unit"), device_unit, channel.unit)
    return Target(channel.name, unit, int(sign))


def _unit(key: str, given: object, device_unit: str | None, channel_unit: str) -> str:
    spelled = str(given) if given is not None else device_unit
    unit = known(spelled)
    if unit is None:
        if channel_unit == "count":
            return "count"
        raise BoatFileError(
            f"signals, {key}: wants unit = ... that fits {channel_unit}, "
            f"got {spelled!r} which is not a unit known here"
        )
    if inside(unit)[0] != channel_unit:
        raise BoatFileError(
            f"signals, {key}: wants a unit that fits the channel's {channel_unit}, got {spelled!r}"
        )
    return unit


def automatic(message: str, signal: str, device_unit: str | None) -> Target:
    """A channel `other_<message>_<signal>_<unit>` for a signal that nobody mapped."""
    unit = known(device_unit) or "count"
    return Target(channel_name(message, signal, unit=unit), unit)


def unknown_signal(key: str, there: Iterable[str], where: str) -> BoatFileError:
    """The error for a key of `signals` that the device's file does not have."""
    near = difflib.get_close_matches(key, list(there), n=1, cutoff=0.4)
    hint = f"; did you mean {near[0]!r}" if near else ""
    return BoatFileError(f"signals, {key}: wants a message and signal of {where}{hint}")
