"""What standard objects of CANopen batteries and chargers mean: CiA 418 and CiA 419.

An EDS file names these objects, and says nothing of their scales, which the two profiles fix. The
scales of 0x6010, 0x6060 and 0x6081 are from memory and agree with a public driver of such a
battery; the others are from memory alone. Currents of the pack itself are in neither profile.
"""

from logger.decode.signal_map import Target
from logger.decode.unit_names import channel_name

PROFILES = (418, 419)  # the lower half of object 0x1000, by definition (CiA 301)
# Index -> channel or words of an `other_...` name, unit, what one step means.
_PACK = {
    0x6010: ("pack_temp_c", "degC", 0.125),
    0x6060: ("pack_voltage_v", "V", 1 / 1024),
    0x6081: ("pack_soc_frac", "%", 1.0),
}
_BESIDE = {
    0x6050: ("charged in all", "Ah", 0.125),
    0x6051: ("given since charge", "Ah", 0.125),
    0x6052: ("returned in charge", "Ah", 0.125),
    0x6070: ("charge current wanted", "A", 1 / 16),
}
Meaning = tuple[Target, float]


def profile_of(device_type: int | None) -> int | None:
    """The profile that a device follows, if it is one of these."""
    number = None if device_type is None else device_type & 0xFFFF
    return number if number in PROFILES else None


def meaning(node: int, index: int, sub: int) -> Meaning | None:
    """Where an object of such a device goes, and what one step of it is."""
    if sub != 0:
        return None
    if index in _PACK:
        channel, unit, scale = _PACK[index]
        return Target(channel, unit), scale
    if index in _BESIDE:
        name, unit, scale = _BESIDE[index]
        return Target(channel_name(f"canopen_{node}", name, unit=unit), unit), scale
    return None
