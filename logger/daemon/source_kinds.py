"""The kinds of source that boat.toml knows, and how each is opened."""

import importlib
from pathlib import Path

from logger.daemon.config import SourceConfig
from logger.decode.counters import Counters
from logger.errors import BoatFileError
from logger.reading import Source
from logger.sources.options import Options
from logger.sources.raw_copy import RawFile, raw_file

# kind -> module with open_source(options, counters, raw); imported only when it is used.
KINDS = {
    "can": "logger.sources.can_bus",
    "nmea0183": "logger.sources.nmea0183",
    "modbus": "logger.sources.modbus_line",
    "text": "logger.sources.text_lines",
    "sensors": "logger.sources.board_sensors",
}
RECORDED = ("csv",)  # kinds that only say how a recording is read


def check_kind(spec: SourceConfig) -> None:
    """Raises BoatFileError for a kind that is not known."""
    if spec.kind not in KINDS and spec.kind not in RECORDED:
        known = ", ".join([*KINDS, *RECORDED])
        raise BoatFileError(f"source {spec.name}, kind: wants one of {known}, got {spec.kind!r}")


def raw_for(
    spec: SourceConfig, folder: Path, raw_folder: Path | None, counters: Counters
) -> RawFile | None:
    """The raw file that a source asks for."""
    return raw_file(Options(spec.name, spec.options, folder), raw_folder, counters)


def open_source(
    spec: SourceConfig, folder: Path, counters: Counters, raw: RawFile | None = None
) -> Source:
    """Opens a source.

    Args:
        spec: From the boat file.
        folder: Files named in its options are relative to it.
        counters: Takes what the source and its decoder count.
        raw: Takes what comes, as it came.
    Raises:
        BoatFileError: An option is wrong; the daemon stops.
        SourceError: It cannot be opened now; the daemon tries again.
    """
    check_kind(spec)
    module = importlib.import_module(KINDS[spec.kind])
    source: Source = module.open_source(Options(spec.name, spec.options, folder), counters, raw)
    return source
