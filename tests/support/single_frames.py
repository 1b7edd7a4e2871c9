"""Frames fed one by one to a bus decoder, as a slow bus brings them."""

from logger.decode.can.bus import BusDecoder
from logger.reading import Item


def feed_one(bus: BusDecoder, t_us: int, can_id: int, data: bytes) -> list[Item]:
    """What every handler of the identifier makes of one frame."""
    return [item for handler in bus.handlers(can_id) for item in handler.row(t_us, data)]
