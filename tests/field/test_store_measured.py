"""Outside measurements kept in the log: the same numbers come back, in few bytes."""

import csv

import numpy as np
import pytest

from logger.reading import Block, Group, Quantum
from logger.store import Store

S = 1_000_000
ALL = -(2**62), 2**62
TABLES = [
    "ev_road_trips/trip_A06.csv",
    "ev_road_trips/trip_A08.csv",
    "ev_road_trips/trip_B03.csv",
    "lfp_3500mah_excitation/excitation_run1.csv",
    "lfp_1200mah_hysteresis/mixed_profile_25C.csv",
]


def table(path):
    """Column names, the text of each cell's decimals, and the numbers; empty cells are NaN."""
    with path.open(newline="") as file:
        names, *rows = csv.reader(file)
    numbers = np.array([[float(cell) if cell else np.nan for cell in row] for row in rows])
    decimals = [
        max(len(cell.partition(".")[2]) for cell in column) for column in zip(*rows, strict=True)
    ]
    return names, decimals, numbers


@pytest.mark.field
@pytest.mark.parametrize("name", TABLES)
def test_decimal_columns_come_back_number_for_number(shared_data, tmp_path, name):
    names, decimals, numbers = table(shared_data / name)
    assert names[0] == "time_s"
    channels = tuple(f"other_{column.lower()}" for column in names[1:])
    quanta = tuple(Quantum(10.0**-places) for places in decimals[1:])
    t_us = np.round(numbers[:, 0] * S).astype(np.int64)
    with Store.open(tmp_path / "boat.log", write=True) as store:
        with store.writer("boot-a") as writer:
            writer.add(Block(Group("table", channels, quanta), t_us, numbers[:, 1:]))
        for k, channel in enumerate(channels, start=1):
            there = ~np.isnan(numbers[:, k])
            back_us, back = store.read(channel, *ALL)
            assert np.array_equal(back_us, t_us[there])
            assert np.array_equal(back, numbers[there, k])
        blobs = store._db.execute(
            "SELECT (SELECT sum(length(time)) FROM chunk) + sum(length(data)) FROM chunk_value"
        ).fetchone()[0]
    samples = int((~np.isnan(numbers[:, 1:])).sum())
    print(f"\n{name}: {blobs / samples:.2f} bytes per sample in columns")
    assert blobs / samples < 2.0  # 8 as floats; these are finer and noisier than a boat's sensors
