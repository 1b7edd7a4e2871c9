"""A log opened with its boat: what models read. Questions are asked of `analyzer.answers.Log`."""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from analyzer.errors import NoLog
from analyzer.series.series import Series, load
from logger import boat as boats
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage
from logger.errors import BoatFileError
from logger.store import Store
from logger.store.connect import none_at


@dataclass
class OpenLog(AbstractContextManager["OpenLog"]):
    """The store of a log and the boat it belongs to; close it when done."""

    store: Store
    boat: Boat

    @classmethod
    def open(cls, log: Path, boat: Path | None = None, *, write: bool = False) -> Self:
        """Opens a log.

        Args:
            log: The log's file.
            boat: The boat file; None: the one kept in the log.
            write: Also keep results in it.
        Raises:
            NoLog: There is none.
            LoggerError: It cannot be read, or there is no boat file to go with it.
        """
        if not log.is_file():
            raise NoLog(none_at(log))
        store = Store.open(log, write=write)
        try:
            return cls(store, boats.load(boat) if boat else _kept_boat(store, log))
        except BaseException:
            store.close()
            raise

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets the log go."""
        self.store.close()

    def load(self, names: tuple[str, ...], start_us: int, end_us: int) -> Series:
        """Channels on one 1 s grid; times on the timeline. [µs]"""
        return load(self.store, names, start_us, end_us)


def _kept_boat(store: Store, log: Path) -> Boat:
    text = store.boat_text()
    if text is None and not store.boots():
        raise BoatFileError(
            f"{log} is empty: nothing was ever recorded in it; name a log that `keelwatt record`, "
            "`keelwatt replay` or `keelwatt demo` has filled"
        )
    if text is None:
        raise BoatFileError(
            f"{log} was recorded without a boat file: name one with --boat "
            "(`keelwatt check --starter` writes one to begin with)"
        )
    return boats.parse(text, f"the boat file kept in {log}")


def pack_channels(boat: Boat) -> tuple[str, ...]:
    """What the charge is followed by."""
    fixed = ("pack_voltage_v", "pack_current_a", "pack_soc_frac", "pack_temp_c", "ambient_temp_c")
    return (*fixed, *cell_channels(boat))


def cell_channels(boat: Boat) -> tuple[str, ...]:
    """Voltages of the cells and blocks that the boat can have."""
    cells = [cell_voltage(i) for i in range(1, boat.pack.cells_in_series + 1)]
    blocks = [block_voltage(i) for i in range(1, (boat.pack.blocks_in_series or 0) + 1)]
    return (*cells, *blocks)
