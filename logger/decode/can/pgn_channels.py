"""Which channel a field of a parameter group lands in.

The pack's and the motor's own instance numbers are settings; other instances, and what has no
channel of its own, are kept as `other_...`. Battery current on the bus is positive while the
battery is charged (seen in tests/field: a boat lying still reports about -6 A), so it is turned
round here, once.
"""

from dataclasses import dataclass, field

TEMPERATURES = {  # source number -> words; from memory of the published list
    0: "sea",
    1: "outside",
    2: "inside",
    3: "engine_room",
    4: "main_cabin",
    5: "live_well",
    6: "bait_well",
    7: "fridge",
    8: "heating",
    9: "dew_point",
    13: "freezer",
    14: "exhaust",
    15: "shaft_seal",
}
_OWN = {
    "127506.soc": "pack_soc_frac",
    "127508.voltage": "pack_voltage_v",
    "127508.current": "pack_current_a",
    "127508.temp": "pack_temp_c",
    "127488.speed": "motor_speed_rps",
    "127489.temp": "motor_temp_c",
    "61584.voltage": "pack_voltage_v",
    "61585.soc": "pack_soc_frac",
    "61586.average": "pack_temp_c",
}
# Which way its current counts stands in no public table: it is the pack's once the owner says so.
HVESS_CURRENT = "61584.current"
_PLAIN = {
    "127250.variation": "variation_deg",
    "127257.pitch": "pitch_deg",
    "127257.roll": "roll_deg",
    "127258.variation": "variation_deg",
    "128259.water": "speed_water_mps",
    "128259.ground": "other_log_speed_ground_mps",
    "128267.depth": "depth_m",
    "129025.latitude": "latitude_deg",
    "129025.longitude": "longitude_deg",
    "129026.speed": "speed_ground_mps",
    "129029.latitude": "latitude_deg",
    "129029.longitude": "longitude_deg",
    "129029.altitude_wgs84": "other_gnss_altitude_wgs84_m",
    "129029.geoid": "other_gnss_geoid_m",
    "129029.satellites": "other_gnss_satellites_count",
    "129029.hdop": "other_gnss_hdop_count",
    "130310.water_temp": "water_temp_c",
    "130577.speed": "speed_ground_mps",
    "130577.water": "speed_water_mps",
}
_BY_REFERENCE = {
    ("127250.heading", 0): "heading_true_deg",
    ("127250.heading", 1): "heading_magnetic_deg",
    ("129026.course", 0): "course_ground_deg",
    ("130577.heading", 0): "heading_true_deg",
    ("130577.heading", 1): "heading_magnetic_deg",
    ("130577.course", 0): "course_ground_deg",
    ("130306.speed", 0): "wind_speed_true_mps",
    ("130306.angle", 0): "wind_direction_true_deg",
    ("130306.speed", 2): "wind_speed_apparent_mps",
    ("130306.angle", 2): "wind_angle_apparent_deg",
    ("130306.speed", 3): "wind_speed_true_mps",
    ("130306.speed", 4): "wind_speed_true_mps",
}
TURNED_ROUND = {"127508.current"}
BATTERY_KINDS = (0, 255)  # 127506: a battery, or the sender does not say what it is, from memory


@dataclass(frozen=True)
class PgnNames:
    """Settings of the mapping.

    Args:
        pack_instance: Battery instance that is the pack.
        motor_instance: Engine instance that is the motor.
        temperatures: "source.instance" -> channel, for 130312 and 130316; source by number
            or word, for example "engine_room.0" -> "ambient_temp_c".
        hvess_sign: 1 where the current of SAE J1939's storage system is positive when it gives,
            -1 where it is when it takes; 0: not said.
    """

    pack_instance: int = 0
    motor_instance: int = 0
    temperatures: dict[str, str] = field(default_factory=dict)
    hvess_sign: int = 0

    def channel(self, pgn: int, name: str, words: dict[str, int], group: str) -> tuple[str, ...]:
        """The channel's name, or the words of an `other_...` name.

        Args:
            pgn: Parameter group number.
            name: The field's name.
            words: Selectors' names and values.
            group: The parameter group's name.
        """
        key = f"{pgn}.{name}"
        if key in _PLAIN:
            return (_PLAIN[key],)
        if key == HVESS_CURRENT and self.hvess_sign:
            return ("pack_current_a",)
        if key in _OWN and self._own(pgn, words):
            return (_OWN[key],)
        if (key, words.get("reference", -1)) in _BY_REFERENCE:
            return (_BY_REFERENCE[key, words["reference"]],)
        if pgn in (130312, 130316):
            return self._temperature(words)
        battery = pgn == 127506 and words["kind"] in BATTERY_KINDS
        shown = {k: v for k, v in words.items() if not (battery and k == "kind")}
        return (group, *(f"{value}" for value in shown.values()), name)

    def sign(self, pgn: int, name: str) -> int:
        """-1 where the bus counts a field the other way round than its channel."""
        key = f"{pgn}.{name}"
        if key == HVESS_CURRENT:
            return self.hvess_sign or 1
        return -1 if key in TURNED_ROUND else 1

    def _own(self, pgn: int, words: dict[str, int]) -> bool:
        if not words:  # a storage system of J1939 has no number
            return True
        if pgn in (127488, 127489):
            return words["instance"] == self.motor_instance
        return words["instance"] == self.pack_instance and words.get("kind", 0) in BATTERY_KINDS

    def _temperature(self, words: dict[str, int]) -> tuple[str, ...]:
        source, instance = words["source"], words["instance"]
        place = TEMPERATURES.get(source, f"source_{source}")
        for key in (f"{place}.{instance}", f"{source}.{instance}"):
            if key in self.temperatures:
                return (self.temperatures[key],)
        if source == 0:
            return ("water_temp_c",)
        return ("temperature", place, str(instance))
