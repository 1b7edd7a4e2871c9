"""A source's options, read one by one; every error names source, key, what it wants and got."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from logger.decode.signal_map import Target, read_target
from logger.errors import BoatFileError


class Options:
    """`[source.options]` of one source.

    Args:
        source: The source's name, for the errors.
        table: The options as they stand in boat.toml.
        folder: Files named in them are relative to it.
    """

    def __init__(self, source: str, table: Mapping[str, object], folder: Path) -> None:
        self.source, self.folder = source, folder
        self.table = table

    def wrong(self, key: str, wants: str) -> BoatFileError:
        """The error for one key."""
        got = self.table.get(key, "nothing")
        return BoatFileError(f"source {self.source}, {key}: wants {wants}, got {got!r}")

    def only(self, known: Collection[str]) -> None:
        """Refuses keys that the source's kind does not know."""
        for key in self.table:
            if key not in known:
                raise BoatFileError(
                    f"source {self.source}: knows {', '.join(sorted(known))}, got {key!r}"
                )

    def text(self, key: str, default: str | None = None) -> str:
        """A text; required where there is no default."""
        value = self.table.get(key, default)
        if not isinstance(value, str) or not value:
            raise self.wrong(key, "a text")
        return value

    def number(
        self, key: str, default: float | None = None, low: float = 0.0, high: float = 1e12
    ) -> float:
        """A number in [low, high]; required where there is no default."""
        value = self.table.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(key, f"a number {low:g} to {high:g}")
        if not low <= value <= high:
            raise self.wrong(key, f"a number {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, default: int | None = None, low: int = 0, high: int = 2**31) -> int:
        """A whole number in [low, high]; required where there is no default."""
        value = self.table.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(key, f"a whole number {low} to {high}")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """true or false."""
        value = self.table.get(key, default)
        if not isinstance(value, bool):
            raise self.wrong(key, "true or false")
        return value

    def subtable(self, key: str) -> dict[str, Any]:
        """A table; empty where it is not there."""
        value = self.table.get(key, {})
        if not isinstance(value, Mapping):
            raise self.wrong(key, "a table")
        table = {}
        for name, entry in value.items():
            table[str(name)] = entry
        return table

    def tables(self, key: str) -> list[dict[str, Any]]:
        """A list of at least one table."""
        value = self.table.get(key)
        if not isinstance(value, list) or not value:
            raise self.wrong(key, "at least one table")
        if not all(isinstance(entry, Mapping) for entry in value):
            raise self.wrong(key, "tables")
        return [dict(entry) for entry in value]

    def texts(self, key: str, default: tuple[str, ...] = ()) -> tuple[str, ...]:
        """A list of texts."""
        value = self.table.get(key, list(default))
        if not isinstance(value, list):
            raise self.wrong(key, "a list of texts")
        if not all(isinstance(entry, str) for entry in value):
            raise self.wrong(key, "a list of texts")
        return tuple(value)

    def target(self, device_unit: str | None) -> Target:
        """Where the number of a table with `channel`, `unit` and `sign` goes."""
        keys = {"channel", "unit", "sign"} & set(self.table)
        table = {key: self.table[key] for key in keys}
        return read_target(self.text("channel"), table, device_unit)

    def path(self, key: str) -> Path:
        """A file's path, relative to the boat file's folder."""
        return self.folder / self.text(key)
