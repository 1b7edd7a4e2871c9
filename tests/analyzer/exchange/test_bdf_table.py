"""The battery data format: by its specification, by hand, and back through a guessed map."""

import io
from contextlib import closing

import numpy as np
import pandas as pd
import pytest

from analyzer.errors import BadImport, NoChannel
from analyzer.exchange import bdf_table, forms
from analyzer.exchange.rows import choose
from logger.decode.column_map import load_map
from logger.decode.guess_map import guess
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from replay.player import open_recordings

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
FAST = Group("t/pack", ("pack_voltage_v", "pack_current_a", "cell_01_voltage_v"), (EXACT,) * 3)
SLOW = Group("t/temp", ("pack_temp_c",), (EXACT,))


@pytest.fixture
def store(tmp_path):
    """Ten seconds of a pack at two readings a second, its temperature every five seconds."""
    with closing(Store.open(tmp_path / "log.sqlite", write=True)) as made:
        with made.writer("boot") as writer:
            writer.add(UtcFix(0, START_US, "file", 1.0))
            t_us = np.arange(20, dtype=np.int64) * 500_000
            current = np.where(t_us < 5_000_000, 10.0, -4.0)
            writer.add(Block(FAST, t_us, np.column_stack([50 + t_us / 1e7, current, t_us / 1e7])))
            writer.add(Block(SLOW, t_us[::10], np.array([[20.0], [21.0]])))
            writer.flush()
        yield made


def written(store, *asked):
    out = io.BytesIO()
    bdf_table.write(store, choose(store, *asked), out)
    return pd.read_csv(io.BytesIO(out.getvalue()))


def test_rows_by_hand(store):
    table = written(store)
    assert table["Test Time / s"].tolist() == [float(k) for k in range(10)]
    assert table["Unix Time / s"].tolist() == [START_US / 1e6 + k for k in range(10)]
    # the mean of readings at 2 k and 2 k + 1 half seconds: 50 V and (k + 0.25) / 10 V
    assert table["Voltage / V"].tolist() == pytest.approx([50 + (k + 0.25) / 10 for k in range(10)])
    assert table["Current / A"].tolist() == [-10.0] * 5 + [4.0] * 5  # charging is positive there
    assert table["Surface Temperature T1 / degC"].dropna().tolist() == [20.0, 21.0]


# The format's published specification, version 1.0. Its own checker, batterydf 0.1.0, passed a trip
# of the demo's; it is not run here, as it brings some sixty packages.
REQUIRED = {"Test Time / s", "Voltage / V", "Current / A"}
ALLOWED = REQUIRED | {
    "Unix Time / s", "Ambient Temperature / degC", "Surface Temperature T1 / degC",
}  # fmt: skip


def test_columns_are_those_of_the_specification(store):
    table = written(store)
    assert set(table.columns) >= REQUIRED
    assert set(table.columns) <= ALLOWED
    assert set(bdf_table.TEMPERATURES.values()) <= ALLOWED
    assert table["Test Time / s"].is_monotonic_increasing


def test_a_cell_is_a_test_object_too(store):
    cell = written(store, None, ("cell_01_voltage_v",))
    assert cell["Voltage / V"].tolist() == pytest.approx([(k + 0.25) / 10 for k in range(10)])
    with pytest.raises(NoChannel, match="name one voltage channel"):
        bdf_table.voltage_channel(("cell_01_voltage_v", "cell_02_voltage_v"))


def test_a_log_without_a_current_has_none(tmp_path):
    with closing(Store.open(tmp_path / "log.sqlite", write=True)) as store:
        with store.writer("boot") as writer:
            writer.add(Block(SLOW, np.array([0], np.int64), np.array([[20.0]])))
            writer.flush()
        with pytest.raises(NoChannel, match="wants pack_voltage_v"):
            written(store)


def test_it_comes_back_through_the_map_that_is_guessed(store, tmp_path):
    path = tmp_path / "pack.bdf.csv"
    with path.open("wb") as out:
        forms.write(store, "bdf", choose(store), out)
    assert forms.form_of(path) == "bdf"
    path.with_suffix(".toml").write_text(guess(path.read_text()))
    assert load_map(path.with_suffix(".toml")).is_utc
    source = open_recordings([path])
    (block,) = [item for item in source.read() if isinstance(item, Block)]
    found = dict(zip(block.group.channels, block.values.T.tolist(), strict=True))
    assert found["pack_current_a"] == [10.0] * 5 + [-4.0] * 5
    assert found["pack_voltage_v"] == pytest.approx([50 + (k + 0.25) / 10 for k in range(10)])


def test_it_is_for_replay_and_not_for_import(tmp_path):
    path = tmp_path / "pack.bdf.csv"
    path.write_text("Test Time / s,Voltage / V,Current / A\n0,50,1\n")
    with pytest.raises(BadImport, match="for `keelwatt replay`"):
        forms.read(path, tmp_path / "new.sqlite")
