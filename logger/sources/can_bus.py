"""Live CAN through SocketCAN, a serial-line adapter, or any python-can interface.

    [[source]]
    name = "can0"
    kind = "can"
    [source.options]
    interface = "socketcan"    # or "slcan", or any interface of python-can
    channel = "can0"           # SocketCAN's name, a serial port, a multicast group ...
    bitrate = 250000           # slcan and python-can; SocketCAN is brought up by the system
    tty_baud = 115200          # slcan
    listen_only = true         # slcan: the adapter never acknowledges; needs another node that does
    max_hz = 10                # keeps at most so many readings a second of each message
    full_rate = ["DriveFast"]  # messages of a DBC file, or "0x123", that max_hz spares
    raw = true                 # keep all frames in a raw file too (see raw_copy.py)

and the decoder's options (see logger/decode/can/bus.py). Nothing is sent on the bus, except what
`sdo.py` says.
"""

from collections.abc import Mapping

import numpy as np

from logger.decode.can import bus
from logger.decode.can.bus import BusDecoder
from logger.decode.can.frames import EXTENDED, FrameBatch
from logger.decode.counters import Counters
from logger.errors import SourceError
from logger.reading import Item
from logger.sources.byte_stream import SerialStream
from logger.sources.frame_readers import (
    FrameReader,
    LibraryReader,
    SlcanReader,
    SocketCanReader,
)
from logger.sources.options import Options
from logger.sources.raw_copy import RAW_KEYS, RawFile
from logger.sources.sdo import Gate, SdoRead, SdoSchedule

GATHER_S = 0.2  # frames are taken together for so long, assumed
KEYS = {*RAW_KEYS, *bus.KEYS, "interface", "channel", "bitrate", "tty_baud", "listen_only"}
SLCAN_RATES = {
    10_000: "S0",
    20_000: "S1",
    50_000: "S2",
    100_000: "S3",
    125_000: "S4",
    250_000: "S5",
    500_000: "S6",
    800_000: "S7",
    1_000_000: "S8",
}  # fmt: skip  (reference values 4.6; 10k to 100k and 800k from memory)


class CanSource:
    """Frames through a decoder as a `Source`.

    Args:
        name: The source's name.
        reader: Where frames come from.
        decoder: Decodes them.
        raw: Takes every frame as it came; None: not kept.
        asking: SDO uploads that the boat file allows; None: nothing is ever sent.
    """

    def __init__(
        self,
        name: str,
        reader: FrameReader,
        decoder: BusDecoder,
        raw: RawFile | None = None,
        asking: SdoSchedule | None = None,
    ) -> None:
        self.name, self._asking = name, asking
        self._reader, self._decoder, self._raw = reader, decoder, raw

    def read(self, timeout_s: float) -> list[Item] | None:
        """The items of the frames that came in the next moment."""
        if self._asking:
            self._asking.ask()
        batch = self._reader.read(min(timeout_s, GATHER_S))
        if batch is None or not len(batch):
            return []
        self._decoder.counters.add("bus_bits", bits_on_bus(batch))
        if self._raw:
            self._raw.frames(batch, self.name)
        return self._decoder.feed_live(batch)

    def close(self) -> None:
        """Lets the bus go."""
        self._reader.close()
        if self._raw:
            self._raw.close()


def bits_on_bus(batch: FrameBatch) -> int:
    """Bits that the frames took, with the space between them and the usual stuffing.

    47 bits around the data of an 11-bit frame and 67 of a 29-bit one (ISO 11898-1); a tenth more
    for stuffed bits, which depend on the data: common practice, no source.
    """
    wide = int(np.count_nonzero(batch.ids & np.uint32(EXTENDED)))
    plain = 47 * len(batch) + 20 * wide + 8 * int(batch.lengths.sum(dtype=np.int64))
    return plain * 11 // 10


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> CanSource:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    decoder = bus.from_options(options.source, options.table, options.folder, counters)
    reads = sdo_reads(options, decoder)
    reader = open_reader(options, counters)
    asking = SdoSchedule(reads, Gate(reads, reader.transmit)) if reads else None
    return CanSource(options.source, reader, decoder, raw, asking)


def sdo_reads(options: Options, decoder: BusDecoder) -> tuple[SdoRead, ...]:
    """The SDO uploads that the options allow. Raises BoatFileError."""
    entries = options.table.get("decode", [])
    found: list[SdoRead] = []
    for entry, one in zip(
        entries if isinstance(entries, list) else [entries], decoder.decoders, strict=False
    ):
        if not isinstance(entry, Mapping) or "sdo" not in entry:
            continue
        allowed = Options(f"{options.source}, decode", entry, options.folder)
        for read in allowed.tables("sdo"):
            each = Options(f"{options.source}, sdo", read, options.folder)
            each.only(("object", "period_s"))
            place = getattr(one, "object_at", lambda _: None)(each.text("object"))
            if place is None:
                raise each.wrong("object", "an object of the EDS file")
            period_s = each.number("period_s", 10.0, 0.1, 86400)
            node = allowed.whole("node", None, 1, 127)
            found.append(SdoRead(node, place[0], place[1], period_s))
    return tuple(found)


def open_reader(options: Options, counters: Counters) -> FrameReader:
    """The reader that a source's options name. Raises BoatFileError, SourceError."""
    interface, channel = options.text("interface", "socketcan"), options.text("channel")
    if "://" in channel:
        raise options.wrong("channel", "a bus or a device of this computer, no address")
    if interface == "socketcan":
        return SocketCanReader(channel, counters)
    if interface == "slcan":
        return _slcan(options, channel, counters)
    return LibraryReader(open_bus(options, interface, channel), options.source, counters)


def open_bus(options: Options, interface: str, channel: str) -> object:
    """A python-can bus. Raises SourceError."""
    import can

    settings: dict[str, object] = {}
    if "bitrate" in options.table:
        settings["bitrate"] = options.whole("bitrate", None, 1000, 1_000_000)
    try:
        return can.Bus(interface=interface, channel=channel, **settings)  # type: ignore[arg-type]
    except (can.CanError, OSError, ValueError, TypeError, ImportError) as error:
        raise SourceError(f"{interface} {channel}: cannot be opened: {error}") from error


def _slcan(options: Options, channel: str, counters: Counters) -> SlcanReader:
    """Sets the adapter's own speed and opens it; these lines do not reach the bus."""
    rate = options.whole("bitrate", 250_000, 10_000, 1_000_000)
    if rate not in SLCAN_RATES:
        raise options.wrong("bitrate", f"one of {', '.join(map(str, SLCAN_RATES))}")
    stream = SerialStream(channel, options.whole("tty_baud", 115_200, 300, 4_000_000))
    opening = "L" if options.flag("listen_only", True) else "O"
    stream.write(f"C\r{SLCAN_RATES[rate]}\r{opening}\r".encode())
    return SlcanReader(stream, options.source, counters)
