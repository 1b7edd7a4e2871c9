"""Live NMEA 0183 from a serial port, TCP or UDP.

[[source]]
name = "gps"
kind = "nmea0183"
[source.options]
port = "/dev/ttyUSB0"      # or tcp = "192.168.4.1:10110", or udp = 10110
baud = 4800
raw = true                 # keep the lines in a raw file too (see raw_copy.py)
[source.options.xdr]       # transducer id -> channel
"ENGINE#1" = "probe_motor_lug_temp_c"
"""

from logger.decode.counters import Counters
from logger.decode.nmea.sentences import SentenceDecoder
from logger.sources.byte_stream import STREAM_KEYS, open_stream
from logger.sources.line_splitter import LineSource
from logger.sources.options import Options
from logger.sources.raw_copy import RAW_KEYS, RawFile

KEYS = {*STREAM_KEYS, *RAW_KEYS, "xdr"}


def open_source(options: Options, counters: Counters, raw: RawFile | None) -> LineSource:
    """Opens the source. Raises BoatFileError, SourceError."""
    options.only(KEYS)
    transducers = {key: str(value) for key, value in options.subtable("xdr").items()}
    decoder = SentenceDecoder(options.source, counters, transducers)
    return LineSource(options.source, open_stream(options), decoder, raw)
