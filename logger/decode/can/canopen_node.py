"""CANopen nodes: process data by an EDS file, heartbeats, emergencies, SDO answers.

An entry of a "can" source's `decode` list:

    {eds = "drive.eds", node = 5, signals = {
        "0x606C" = {channel = "motor_speed_rps", unit = "rpm"},
        "DC link circuit voltage" = {channel = "controller_voltage_v", unit = "mV"},
        "0x2010.2" = {channel = "controller_temp_c", unit = "degC", scale = 0.1},
        "emergency" = {channel = "controller_fault_code"} }}

A signal is named by its index (and sub-index) or by its name in the EDS file; `scale` is what one
step means in `unit`, 1 if left out. Without `signals` every mapped object is kept as `other_...`,
those of a battery or charger by CiA 418 and 419 with their scales, voltage, charge and temperature
as the pack's. A drive's status word (0x6041) in a channel `other_..._status_word_code` is told in
words by `keelwatt check`.
Heartbeat states and emergencies are kept always: other_canopen_<node>_state_code,
..._emergency_code, ..._error_register_code. Identifiers: reference values 4.4 (the predefined
connection set), or the EDS file's own for process data and emergencies.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from logger.decode.can import battery_profile
from logger.decode.counters import Counters
from logger.decode.fields import Bits, Bytes, Field, Layout, make_field
from logger.decode.message import Handler, MessageHandler, Thinning, Times
from logger.decode.signal_map import (
    Target,
    automatic,
    read_target,
    unknown_signal,
)
from logger.errors import BoatFileError
from logger.reading import Group, Item

_SIGNED = {0x02, 0x03, 0x04, 0x10, 0x12, 0x13, 0x14, 0x15}  # CiA 301 data types
_REAL = {0x08: 32, 0x11: 64}  # by definition there too
_NOT_NUMBERS = {0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x0F}
STATUS_WORD = 0x6041  # of a drive, by definition (CiA 402)
INVALID = 1 << 31  # in a COB-ID: this process data object is not used, by definition (CiA 301)
Object = tuple[int, int]


class CanopenDecoder:
    """Finds the handler for an identifier of one node.

    Args:
        eds: The EDS file.
        node: 1 to 127.
        prefix: First part of the groups' keys.
        counters: Takes what is refused.
        signals: See the module's text; None keeps every mapped object.
    Raises:
        BoatFileError: The file cannot be read, or `signals` does not fit it.
    """

    def __init__(
        self,
        eds: Path,
        node: int,
        prefix: str,
        counters: Counters,
        signals: Mapping[str, object] | None = None,
    ) -> None:
        self.node = node
        self._prefix, self._counters = prefix, counters
        self._objects = load(eds, node)
        self._every = signals is None
        self._is_battery = (
            battery_profile.profile_of(_default(self._variable(0x1000, 0))) is not None
        )
        self._targets: dict[Object, tuple[Target, float]] = {}
        self._emergency = f"other_canopen_{node}_emergency_code"
        for key, entry in (signals or {}).items():
            self._read_signal(key, entry, eds.name)
        self._handlers = self._process_data()
        self._handlers[0x700 + node] = self._heartbeat()
        emergency_id = self._emergency_id()
        self._handlers[emergency_id] = self._emergencies(emergency_id)
        self._handlers[0x580 + node] = SdoAnswers(self._answer_layouts(), counters)

    def handler(self, can_id: int) -> Handler | None:
        """What decodes frames of this identifier; None where it is not this node's."""
        return self._handlers.get(can_id)

    def object_at(self, key: str) -> Object | None:
        """Index and sub-index of a signal's name; None where the EDS file has none such."""
        if key.lower().startswith("0x"):
            number, _, part = key.partition(".")
            try:
                place = (
                    int(number, 16),
                    int(part, 16 if part.startswith("0x") else 10) if part else 0,
                )
            except ValueError:
                return None
            return place if self._variable(*place) is not None else None
        for index in self._objects:
            for sub, variable in _variables(self._objects[index]):
                if key in (variable.name, f"{self._objects[index].name}.{variable.name}"):
                    return index, sub
        return None

    # -- inside ---------------------------------------------------------------------------------

    def _read_signal(self, key: str, entry: object, where: str) -> None:
        table = dict(entry) if isinstance(entry, Mapping) else {"channel": entry}
        scale = table.pop("scale", 1)
        if isinstance(scale, bool) or not isinstance(scale, int | float) or scale == 0:
            raise BoatFileError(f"signals, {key}: scale wants a number, got {scale!r}")
        if key == "emergency":
            self._emergency = read_target(key, table, "count").channel
            return
        place = self.object_at(key)
        if place is None:
            raise unknown_signal(key, self._names(), where)
        unit = getattr(self._variable(*place), "unit", None)
        self._targets[place] = read_target(key, table, unit or None), float(scale)

    def _names(self) -> list[str]:
        return [v.name for index in self._objects for _, v in _variables(self._objects[index])]

    def _variable(self, index: int, sub: int) -> Any:
        item = self._objects.get(index)
        return None if item is None else dict(_variables(item)).get(sub)

    def _process_data(self) -> dict[int, Handler]:
        handlers: dict[int, Handler] = {}
        for number in range(512):
            setting, mapping = 0x1800 + number, 0x1A00 + number
            if setting not in self._objects or mapping not in self._objects:
                continue
            cob_id = _default(self._variable(setting, 1))
            if cob_id is None or cob_id & INVALID:
                continue
            handler = self._mapped(mapping, cob_id & 0x7FF)
            if handler:
                handlers[cob_id & 0x7FF] = handler
        return handlers

    def _mapped(self, mapping: int, cob_id: int) -> Handler | None:
        start = 0
        found: list[tuple[str, Field]] = []
        count = _default(self._variable(mapping, 0)) or 0
        for place in range(1, count + 1):
            entry = _default(self._variable(mapping, place))
            if entry is None:
                break
            index, sub, length = entry >> 16, entry >> 8 & 0xFF, entry & 0xFF
            item = self._field(index, sub, start, length)
            if item:
                found.append(item)
            start += length
        if not found:
            return None
        channels, fields = zip(*found, strict=True)
        quanta = tuple(item.quantum for item in fields)
        group = Group(f"{self._prefix}/{cob_id:03X}", channels, quanta)
        return MessageHandler([Layout(group, fields)], (start + 7) // 8, self._counters, True)

    def _field(self, index: int, sub: int, start: int, length: int) -> tuple[str, Field] | None:
        variable = self._variable(index, sub)
        if variable is None or not 0 < length <= 64 or variable.data_type in _NOT_NUMBERS:
            return None
        target, scale = self._target(index, sub, variable)
        if target is None:
            return None
        kind = "s" if variable.data_type in _SIGNED else "u"
        if _REAL.get(variable.data_type) == length:
            kind = "f"
        bits = Bits(start, length, False, kind)
        return target.channel, make_field(bits, target, scale)

    def _target(self, index: int, sub: int, variable: Any) -> tuple[Target | None, float]:
        if (index, sub) in self._targets:
            return self._targets[index, sub]
        if not self._every:
            return None, 1.0
        known = battery_profile.meaning(self.node, index, sub) if self._is_battery else None
        if known:
            return known
        if index == STATUS_WORD:
            return Target(f"other_canopen_{self.node}_status_word_code", "count"), 1.0
        unit = getattr(variable, "unit", None) or None
        return automatic(f"canopen_{self.node}", variable.name, unit), 1.0

    def _answer_layouts(self) -> dict[Object, Layout]:
        layouts = {}
        for index, sub in self._targets:
            variable = self._variable(index, sub)
            length = len(variable)
            item = self._field(index, sub, 32, length) if 0 < length <= 32 else None
            if item:
                key = f"{self._prefix}/{self.node}/{index:04X}.{sub}"
                group = Group(key, (item[0],), (item[1].quantum,))
                layouts[index, sub] = Layout(group, (item[1],))
        return layouts

    def _heartbeat(self) -> Handler:
        channel = f"other_canopen_{self.node}_state_code"
        item = make_field(Bits(0, 7), Target(channel, "count"))
        group = Group(f"{self._prefix}/{0x700 + self.node:03X}", (channel,), (item.quantum,))
        return MessageHandler([Layout(group, (item,))], 1, self._counters, event=True)

    def _emergency_id(self) -> int:
        """Object 0x1014 (CiA 301); the predefined identifier where the EDS file has none."""
        told = _default(self._variable(0x1014, 0))
        return told & 0x7FF if told and not told & INVALID else 0x080 + self.node

    def _emergencies(self, can_id: int) -> Handler:
        register = f"other_canopen_{self.node}_error_register_code"
        items = (
            make_field(Bits(0, 16), Target(self._emergency, "count")),
            make_field(Bits(16, 8), Target(register, "count")),
        )
        key = f"{self._prefix}/{can_id:03X}"
        group = Group(key, (self._emergency, register), tuple(i.quantum for i in items))
        return MessageHandler([Layout(group, items)], 8, self._counters, event=True)


class SdoAnswers:
    """Expedited answers to uploads, whoever asked; those of objects without a channel pass by."""

    thinning: Thinning = "nothing"  # they come no oftener than they were asked for

    def __init__(self, layouts: dict[Object, Layout], counters: Counters) -> None:
        self._handlers = {
            place: MessageHandler([layout], 8, counters) for place, layout in layouts.items()
        }
        self._counters = counters

    def block(self, t_us: Times, lengths: npt.NDArray[np.uint8], data: Bytes) -> list[Item]:
        rows = zip(t_us.tolist(), lengths.tolist(), data, strict=True)
        return [i for when, n, row in rows for i in self.row(when, row[:n].tobytes())]

    def row(self, t_us: int, data: bytes) -> list[Item]:
        if len(data) != 8:
            self._counters.add("length")
            return []
        handler = self._handlers.get((data[1] | data[2] << 8, data[3]))
        if handler is None:
            return []
        if data[0] == 0x80:
            self._counters.add("sdo_abort")
            return []
        if data[0] & 0xE2 != 0x42:  # not an expedited answer to an upload
            self._counters.add("sdo_other")
            return []
        return handler.row(t_us, data)


def _variables(item: Any) -> list[tuple[int, Any]]:
    if hasattr(item, "data_type"):
        return [(0, item)]
    return [(sub, item[sub]) for sub in item]


def _default(variable: Any) -> int | None:
    if variable is None:
        return None
    value = variable.value if variable.value is not None else variable.default
    return value if isinstance(value, int) else None


def load(path: Path, node: int) -> Any:
    """The object dictionary of an EDS file, for one node. Raises BoatFileError."""
    import canopen

    if not path.is_file():
        raise BoatFileError(f"{path}: wants an EDS file, got No such file")
    try:
        return canopen.import_od(str(path), node)
    except Exception as error:  # the library lets its parser's own errors through
        raise BoatFileError(f"{path}: wants an EDS file, but it does not read: {error}") from error
