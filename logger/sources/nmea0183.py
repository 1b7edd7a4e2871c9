"""Live NMEA 0183 from a serial port, TCP or UDP.

[[source]]
name = "gps"
kind = "nmea0183"
[source.options]
port = "/dev/ttyUSB0"      # or tcp = "192.168.4.1:10110", or udp = 10110
baud = 4800
raw = true                 # keep the lines in a raw file too (see tee.py)
[source.options.xdr]       # transducer id -> channel
"ENGINE#1" = "probe_motor_lug_temp_c"
"""

from logger.boot_clock import mono_us
from logger.decode.counters import Counters
from logger.decode.nmea.sentences import SentenceDecoder
from logger.reading import Item
from logger.sources.byte_stream import STREAM_KEYS, ByteStream, open_stream
from logger.sources.line_splitter import LineSplitter
from logger.sources.options import Options
from logger.sources.raw_copy import RAW_KEYS, RawFile

KEYS = {*STREAM_KEYS, *RAW_KEYS, "xdr"}


class Nmea0183Source:
    """Sentences as a `Source`.

    Args:
        name: The source's name.
        stream: Where bytes come from.
        decoder: Decodes lines.
        raw: Takes every line as it came; None: not kept.
    """

    def __init__(
        self, name: str, stream: ByteStream, decoder: SentenceDecoder, raw: RawFile | None = None
    ) -> None:
        self.name = name
        self._stream, self._decoder, self._raw = stream, decoder, raw
        self._lines = LineSplitter()

    def read(self, timeout_s: float) -> list[Item] | None:
        """The items of all lines that have come, as of now."""
        chunk = self._stream.read(timeout_s)
        if not chunk:
            return []
        t_us = mono_us()
        items: list[Item] = []
        for line in self._lines.feed(chunk):
            if self._raw:
                self._raw.line(t_us, self.name, line)
            items += self._decoder.feed(line, t_us)
        return items

    def close(self) -> None:
        """Lets the port go."""
        self._stream.close()
        if self._raw:
            self._raw.close()


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> Nmea0183Source:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    transducers = {key: str(value) for key, value in options.subtable("xdr").items()}
    decoder = SentenceDecoder(options.source, counters, transducers)
    return Nmea0183Source(options.source, open_stream(options), decoder, raw)
