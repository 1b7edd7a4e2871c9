"""Which decoder a recorded file gets: from the boat's sources, or from the files given with it."""

from collections.abc import Callable, Mapping
from pathlib import Path

from logger.boat import Boat, SourceSpec
from logger.decode.can import bus
from logger.decode.can.bus import BusDecoder
from logger.decode.column_map import ColumnMap, load_map, read_map
from logger.decode.counters import Counters
from logger.decode.nmea.sentences import SentenceDecoder
from logger.decode.registers import RegisterLines
from logger.errors import BoatFileError, RecordingError
from logger.sources import modbus_line, text_lines
from logger.sources.line_splitter import LineDecoder
from logger.sources.options import Options
from logger.sources.recordings.can_recording import CanRecording
from logger.sources.recordings.csv_recording import CsvRecording
from logger.sources.recordings.line_recording import LineRecording
from logger.sources.recordings.recording import Recording, kind_of


class Opener:
    """Opens recordings; keeps one decoder per source of the boat.

    Args:
        boat: Its sources; None: maps and DBC files say everything.
        maps: Column maps for CSV files.
        dbcs: CAN databases, in addition to the boat's.
        folder: Files named in the boat's sources are relative to it.
    """

    def __init__(
        self,
        boat: Boat | None,
        maps: tuple[Path, ...],
        dbcs: tuple[Path, ...],
        folder: Path | None,
    ) -> None:
        self._sources = boat.source if boat else ()
        self._maps, self._dbcs, self._folder = maps, dbcs, folder
        self.counters: dict[str, Counters] = {}
        self._can: dict[str, BusDecoder] | None = None
        self._lines: dict[str, SentenceDecoder] | None = None
        self._others: dict[str, LineDecoder] | None = None

    def open(self, path: Path) -> Recording:
        """Opens one file. Raises RecordingError, BoatFileError."""
        kind = kind_of(path)
        counters = self._counters(path.name)
        if kind == "nmea0183":
            return LineRecording(path, self._sentence_decoders(), counters, self._other_decoders())
        if kind == "lines":
            others = self._other_decoders()
            if not others:
                raise RecordingError(
                    f"{path}: holds lines of a text or Modbus source; it needs the boat file "
                    f"that names this source"
                )
            return LineRecording(path, {}, counters, others)
        if kind == "csv":
            columns, name = self._column_map(path)
            return CsvRecording(path, columns, name, counters)
        return CanRecording(path, kind, self._bus_decoders(path), counters)

    def _counters(self, name: str) -> Counters:
        return self.counters.setdefault(name, Counters(name))

    def _of_kind(self, kind: str) -> list[SourceSpec]:
        return [spec for spec in self._sources if spec.kind == kind]

    # -- CAN ------------------------------------------------------------------------------------

    def _bus_decoders(self, path: Path) -> dict[str, BusDecoder]:
        if self._can is None:
            self._can = self._made_bus_decoders(path.parent)
        return self._can

    def _made_bus_decoders(self, beside: Path) -> dict[str, BusDecoder]:
        found: dict[str, BusDecoder] = {}
        extra: list[object] = [{"dbc": str(path.absolute())} for path in self._dbcs]
        for spec in self._of_kind("can"):
            options = dict(spec.options)
            options["decode"] = [*_listed(options.get("decode", ["nmea2000"])), *extra]
            decoder = self._bus_decoder(spec.name, options, beside)
            for bus_name in {spec.name, str(options.get("channel", spec.name))}:
                found[bus_name] = decoder
            found.setdefault("", decoder)
        if not found:
            options = {"decode": extra or ["nmea2000"]}
            found[""] = self._bus_decoder("can", options, beside)
        return found

    def _bus_decoder(self, name: str, options: Mapping[str, object], beside: Path) -> BusDecoder:
        counters = self._counters(name)
        return self._in_folders(
            lambda folder: bus.from_options(name, options, folder, counters), beside
        )

    def _in_folders(self, make: Callable[[Path], BusDecoder], beside: Path) -> BusDecoder:
        """With files beside the boat file, else beside the recording."""
        folders = [self._folder] if self._folder else []
        error: BoatFileError | None = None
        for folder in [*folders, beside]:
            try:
                return make(folder)
            except BoatFileError as one:
                error = error or one
                if "No such file" not in str(one):
                    break
        assert error
        raise error

    # -- NMEA 0183 ------------------------------------------------------------------------------

    def _sentence_decoders(self) -> dict[str, SentenceDecoder]:
        if self._lines is None:
            self._lines = {}
            for spec in self._of_kind("nmea0183"):
                table = spec.options.get("xdr", {})
                if not isinstance(table, Mapping):
                    raise BoatFileError(f"source {spec.name}, xdr: wants a table, got {table!r}")
                names = {str(key): str(value) for key, value in table.items()}
                decoder = SentenceDecoder(spec.name, self._counters(spec.name), names)
                self._lines[spec.name] = decoder
                self._lines.setdefault("", decoder)
            if not self._lines:
                self._lines[""] = SentenceDecoder("nmea0183", self._counters("nmea0183"))
        return self._lines

    def _other_decoders(self) -> dict[str, LineDecoder]:
        """Of text and Modbus sources, by name."""
        if self._others is None:
            self._others = {}
            for spec in self._sources:
                counters = self._counters(spec.name)
                options = Options(spec.name, spec.options, self._folder or Path())
                if spec.kind == "text":
                    self._others[spec.name] = text_lines.decoder_from(options, counters)
                elif spec.kind == "modbus":
                    plans = modbus_line.plans_from(options, counters)
                    self._others[spec.name] = RegisterLines(plans, counters)
        return self._others

    # -- CSV ------------------------------------------------------------------------------------

    def _column_map(self, path: Path) -> tuple[ColumnMap, str]:
        beside = path.with_suffix(".toml")
        if self._maps:
            return self._fitting(path), path.stem
        if beside.is_file():
            return load_map(beside), path.stem
        for spec in self._of_kind("csv"):
            return self._from_source(spec), spec.name
        raise RecordingError(
            f"{path}: a CSV table needs a column map; give one with --map, or put it beside the "
            f"file as {beside.name}; `keelwatt check {path.name}` proposes one"
        )

    def _fitting(self, path: Path) -> ColumnMap:
        """The first map whose columns the file has; else the first, whose error then tells."""
        maps = [load_map(one) for one in self._maps]
        for one in maps:
            try:
                CsvRecording(path, one, "probe", Counters("probe")).close()
            except RecordingError:
                continue
            return one
        return maps[0]

    def _from_source(self, spec: SourceSpec) -> ColumnMap:
        if "map" in spec.options:
            return load_map((self._folder or Path()) / str(spec.options["map"]))
        return read_map(spec.options, f"source {spec.name}")


def _listed(value: object) -> list[object]:
    return list(value) if isinstance(value, list) else [value]
