"""What goes out of a log comes in again: whole logs by hypothesis, through every form."""

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings

from analyzer.exchange import csv_table, forms, gpx_track, packed_log, parquet_days
from analyzer.exchange.rows import choose
from logger.store import Store
from tests.support.invented_logs import (
    dates,
    logs,
    readings,
    write_log,
)

EXAMPLES = 200 if os.environ.get("KEELWATT_FULL") else 8
PLACE = ("latitude_deg", "longitude_deg")


def both_ways(invented, write, read, ending, look):
    """What `look` sees in a log, and in what was read back from the form it was written to."""
    with tempfile.TemporaryDirectory() as folder:
        form = Path(folder) / f"form{ending}"
        with write_log(invented, Path(folder) / "a.sqlite") as store:
            seen = look(store)
            write(store, form)
        with read(form, Path(folder) / "b.sqlite") as store:
            return seen, look(store)


def streamed(module, *more):
    """Writes by a module's `write` to a file."""

    def write(store, path):
        with path.open("wb") as out:
            module.write(store, choose(store), *more, out)

    return write


def into_new(module):
    """Reads by a module's `read` into a new log."""

    def read(path, log):
        store = Store.open(log, write=True)
        module.read(path, store)
        return store

    return read


def everything(store):
    """Readings, resolutions, boots and small tables; a boot's number may differ."""
    boots = {b.uid: (b.utc_offset_us, b.utc_source, b.utc_uncertainty_s, b.remark, b.recorded)
             for b in store.boots()}  # fmt: skip
    return readings(store), boots, store.tables()


@settings(max_examples=EXAMPLES)
@given(logs())
def test_csv_brings_back_every_reading_and_date(invented):
    def look(store):
        found, known = readings(store), dates(store)
        return found, {uid: known[uid] for uid, _ in found}

    was, is_ = both_ways(invented, streamed(csv_table), into_new(csv_table), ".csv", look)
    assert is_ == was


@pytest.mark.parametrize("ending", [".parquet", ".arrow"])
@settings(max_examples=EXAMPLES)
@given(invented=logs())
def test_a_columnar_file_brings_back_every_reading_and_boot(invented, ending):
    def look(store):
        return everything(store)[:2]

    def write(store, path):
        with path.open("wb") as out:
            forms.write(store, forms.form_of(path), choose(store), out)

    was, is_ = both_ways(invented, write, into_new(parquet_days), ending, look)
    assert is_ == was


@settings(max_examples=EXAMPLES)
@given(logs())
def test_a_parquet_folder_brings_back_flags_trips_and_all_else(invented):
    def write(store, path):
        parquet_days.write_folder(store, choose(store), path)

    was, is_ = both_ways(invented, write, into_new(parquet_days), "", everything)
    assert is_ == was


@settings(max_examples=EXAMPLES)
@given(logs())
def test_a_packed_log_brings_back_everything(invented):
    def write(store, path):
        with path.open("wb") as out:
            packed_log.write(store, out)

    def read(path, log):
        packed_log.read(path, log)
        return Store.open(log)

    was, is_ = both_ways(invented, write, read, ".sqlite.zst", everything)
    assert is_ == was


@settings(max_examples=EXAMPLES)
@given(logs())
def test_gpx_brings_back_every_position_with_its_time(invented):
    def has_track(store):
        return bool(positions(store)[0])

    def positions(store):
        found = {}
        for (uid, name), pairs in readings(store, PLACE).items():
            found.setdefault(uid, {}).setdefault(name, []).extend(pairs)
        whole = {uid: rows_of(own) for uid, own in found.items() if len(own) == 2}
        whole = {uid: rows for uid, rows in whole.items() if rows}
        return whole, {u: o for u, o in dates(store).items() if u in whole}

    with tempfile.TemporaryDirectory() as folder, write_log(invented, Path(folder) / "a") as store:
        if not has_track(store):
            return
    was, is_ = both_ways(
        invented, streamed(gpx_track, "a <name>"), into_new(gpx_track), ".gpx", positions
    )
    assert is_ == was


def rows_of(own):
    """Times at which both were there, with both values; readings of one time by their order."""
    counted = []
    for name in PLACE:
        seen, found = {}, {}
        for t_us, value in own[name]:
            seen[t_us] = seen.get(t_us, -1) + 1
            found[t_us, seen[t_us]] = value
        counted.append(found)
    latitude, longitude = counted
    return [
        (t, latitude[t, k], longitude[t, k]) for t, k in sorted(latitude) if (t, k) in longitude
    ]
