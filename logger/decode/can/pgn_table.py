"""NMEA 2000 parameter groups: where the fields sit and what they measure.

One field a line: name, u or s with its bits, scale, unit and, if any, offset. `key` marks a
selector (instance, reference, source) that decides which channel the rest goes to; `-` is not kept.
Sources: reference values 4.3 for 127488, 127489, 127250, 127506, 127508, 128259, 129025,
129026, 130312, 130316; the others from memory of the published field lists, checked in
tests/field against recorded and published messages where these have them. Field order and
scales of 127493, 127513 and 130306 were compared with reference values' key N2L; 127257: no
outside value at hand. 127507: from memory. 127751, 129291 and 130577: from memory, checked against
the nmea2000 library (version 2026.10.3). 61584 to 61586 (SAE J1939, high-voltage energy storage
systems): order, lengths and scales from memory, agreeing with two public tables of them (steps of
0.05 kW, 0.05 V, 0.05 A from -1600 A, 1/640 %, 1 mV, 1/32 degC from -273); the standard itself was
not at hand. What is above 0xFAFF is not a measurement: SAE J1939-71, by the same memory.
"""

from dataclasses import dataclass

from logger.decode.fields import Bits

_TABLE = """
61584 hvess j1939
 discharge_limit u16 50 W; charge_limit u16 50 W; voltage u16 0.05 V; current u16 0.05 A -1600
61585 hvess_cells j1939
 soc u16 0.0015625 %; highest u16 0.001 V; lowest u16 0.001 V; difference u4 1 count
61586 hvess_temps j1939
 highest u16 0.03125 degC -273; lowest u16 0.03125 degC -273; average u16 0.03125 degC -273
126992 system_time
 sid u8 -; source u4 -; reserved u4 -; date u16 -; time u32 -
127245 rudder
 instance u8 key; order u3 -; reserved u5 -; angle_order s16 0.0001 rad; position s16 0.0001 rad
127250 heading
 sid u8 -; heading u16 0.0001 rad; deviation s16 0.0001 rad; variation s16 0.0001 rad;
 reference u2 key
127257 attitude
 sid u8 -; yaw s16 0.0001 rad; pitch s16 0.0001 rad; roll s16 0.0001 rad
127258 variation
 sid u8 -; source u4 -; reserved u4 -; age u16 -; variation s16 0.0001 rad
127488 motor
 instance u8 key; speed u16 0.25 rpm; boost u16 100 Pa; tilt s8 -
127489 motor fast
 instance u8 key; oil_pressure u16 100 Pa; oil_temp u16 0.1 K; temp u16 0.01 K;
 voltage s16 0.01 V; fuel_rate s16 -; run_time u32 1 s; coolant_pressure u16 100 Pa;
 fuel_pressure u16 1000 Pa; reserved u8 -; status1 u16 1 count; status2 u16 1 count;
 load s8 1 %; torque s8 1 %
127493 gearbox
 instance u8 key; gear u2 1 count; reserved u6 -; oil_pressure u16 100 Pa; oil_temp u16 0.1 K;
 status1 u8 1 count
127505 tank
 instance u4 key; kind u4 key; level s16 0.004 %; capacity u32 -
127506 battery fast
 sid u8 -; instance u8 key; kind u8 key; soc u8 1 %; soh u8 1 %; time_left u16 60 s;
 ripple u16 0.001 V; capacity u16 1 Ah
127507 charger
 instance u8 key; battery u8 key; state u4 1 count; mode u4 1 count; enabled u2 1 count;
 pending u2 -; reserved u4 -; time_left u16 60 s
127508 battery
 instance u8 key; voltage s16 0.01 V; current s16 0.1 A; temp u16 0.01 K; sid u8 -
127513 battery fast
 instance u8 key; kind u4 1 count; equalization u2 1 count; reserved u2 -;
 nominal u4 1 count; chemistry u4 1 count; capacity u16 1 Ah; temp_coefficient s8 -;
 peukert u8 -; efficiency s8 1 %
127751 dc
 sid u8 -; instance u8 key; voltage u16 0.1 V; current s24 0.01 A
128259 water_speed
 sid u8 -; water u16 0.01 m/s; ground u16 0.01 m/s
128267 depth
 sid u8 -; depth u32 0.01 m; offset s16 0.001 m
128275 distance fast
 date u16 -; time u32 -; log u32 1 m; trip u32 1 m
129025 position
 latitude s32 1e-07 deg; longitude s32 1e-07 deg
129026 course
 sid u8 -; reference u2 key; reserved u6 -; course u16 0.0001 rad; speed u16 0.01 m/s
129029 gnss fast
 sid u8 -; date u16 -; time u32 -; latitude s64 1e-16 deg; longitude s64 1e-16 deg;
 altitude_wgs84 s64 1e-06 m; kind u4 -; method u4 key; integrity u2 -; reserved u6 -;
 satellites u8 1 count; hdop s16 0.01 count; pdop s16 -;
 geoid s32 0.01 m
129033 time_date
 date u16 -; time u32 -
129291 stream
 sid u8 -; reference u2 key; reserved u6 -; set u16 0.0001 rad; drift u16 0.01 m/s
130306 wind
 sid u8 -; speed u16 0.01 m/s; angle u16 0.0001 rad; reference u3 key
130310 surroundings
 sid u8 -; water_temp u16 0.01 K; air_temp u16 0.01 K; pressure u16 100 Pa
130312 temperature
 sid u8 -; instance u8 key; source u8 key; temp u16 0.01 K
130314 pressure
 sid u8 -; instance u8 key; source u8 key; pressure s32 0.1 Pa
130316 temperature_wide
 sid u8 -; instance u8 key; source u8 key; temp u24 0.001 K
130577 directions fast
 mode u4 -; reference u2 key; reserved u2 -; sid u8 -; course u16 0.0001 rad;
 speed u16 0.01 m/s; heading u16 0.0001 rad; water u16 0.01 m/s; set u16 0.0001 rad;
 drift u16 0.01 m/s
"""

# Where date (days since 1970) and time (0.0001 s) of UTC sit, and the clock's kind if sent.
UTC_FIELDS = {
    126992: (Bits(16, 16), Bits(32, 32), Bits(8, 4)),
    129029: (Bits(8, 16), Bits(24, 32), None),
    129033: (Bits(0, 16), Bits(16, 32), None),
}


@dataclass(frozen=True, slots=True)
class PgnField:
    """A field that is kept: value = raw * scale + offset, in the standard's unit.

    j1939: Whether its highest raw numbers are kept free as SAE J1939-71 does it.
    """

    name: str
    bits: Bits
    scale: float
    unit: str
    offset: float = 0.0
    j1939: bool = False

    @property
    def highest_raw(self) -> int:
        """The highest raw number that is a measurement.

        All ones (0x7F.. where signed) say "not available" and one less "out of range". In J1939
        the highest byte goes to 0xFA; what is above is kept free or says "error".
        """
        if self.j1939 and self.bits.length >= 8:
            return (0xFB << (self.bits.length - 8)) - 1
        length = self.bits.length - (self.bits.kind == "s")
        return (1 << length) - (3 if self.bits.length >= 8 else 2)


@dataclass(frozen=True, slots=True)
class ParameterGroup:
    """A parameter group. selectors and fields: in the order in which they are sent."""

    pgn: int
    name: str
    fast: bool
    selectors: tuple[tuple[str, Bits], ...]
    fields: tuple[PgnField, ...]


def _read(number: str, name: str, flags: list[str], text: str) -> ParameterGroup:
    start, selectors, fields = 0, [], []
    for entry in text.split(";"):
        words = entry.split()
        bits = Bits(start, int(words[1][1:]), False, words[1][0])
        start += bits.length
        if words[2] == "key":
            selectors.append((words[0], bits))
        elif words[2] != "-":
            offset = float(words[4]) if len(words) > 4 else 0.0
            scale = float(words[2])
            fields.append(PgnField(words[0], bits, scale, words[3], offset, "j1939" in flags))
    return ParameterGroup(int(number), name, "fast" in flags, tuple(selectors), tuple(fields))


def _table() -> dict[int, ParameterGroup]:
    groups: dict[int, ParameterGroup] = {}
    head: list[str] = []
    body: list[str] = []
    for line in [*_TABLE.strip().splitlines(), "0 end"]:
        if line.startswith(" "):
            body.append(line)
            continue
        if head:
            groups[int(head[0])] = _read(head[0], head[1], head[2:], " ".join(body))
        head, body = line.split(), []
    return groups


GROUPS = _table()
