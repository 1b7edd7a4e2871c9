"""export and import as a user meets them."""

import os
import subprocess

import numpy as np
import pandas as pd
import pytest

from analyzer.faces.cli.main import main
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store, TripRecord

pytestmark = pytest.mark.usefixtures("own_home")

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))


@pytest.fixture
def log(tmp_path):
    """A minute of two channels, no boat file."""
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        with store.writer("boot") as writer:
            writer.add(UtcFix(0, START_US, "file", 1.0))
            t_us = np.arange(60, dtype=np.int64) * 1_000_000
            values = np.column_stack([50.0 + np.arange(60) / 8, np.full(60, 0.1 + 0.2)])
            writer.add(Block(PACK, t_us, values))
        store.put_trips([TripRecord(1, START_US + 5_000_000, START_US + 9_000_000, {})])
    return path


def held(path):
    with Store.open(path) as store:
        return {name: [x.tolist() for x in store.read(name, 0, 2**61)] for name in store.channels()}


@pytest.mark.parametrize("name", ["a.csv", "a.parquet", "a.sqlite", "a.sqlite.zst", "days"])
def test_out_by_its_ending_and_in_again(log, tmp_path, name):
    out, new = tmp_path / name, tmp_path / "new.sqlite"
    form = ["--format", "parquet"] if name == "days" else []
    assert main(["export", *form, "--out", str(out), "--log", str(log)]) == 0
    assert main(["import", str(out), "--log", str(new)]) == 0
    assert held(new) == held(log)


def test_to_the_output_as_csv(log, capsysbinary):
    assert main(["export", "1", "--channels", "pack_voltage_v", "--log", str(log)]) == 0
    lines = capsysbinary.readouterr().out.decode().splitlines()
    assert lines[0] == "utc_s,pack_voltage_v,boot,t_mono_us"
    assert lines[1] == "1782887405.000,50.625,boot,5000000"
    assert len(lines) == 5


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["7"], "no trip 7"),
        (["--channels", "volts"], "no channel 'volts'"),
        (["--format", "gpx"], "no position was recorded"),
        (["1", "--format", "parquet", "--out", "folder"], "takes the whole log"),
        (["--format", "log", "--out", "log.sqlite"], "is there already"),
    ],
)
def test_what_cannot_be_written_is_one_sentence(log, options, says, capsys, monkeypatch):
    monkeypatch.chdir(log.parent)
    assert main(["export", *options, "--log", str(log)]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert said.count("\n") == 1


def test_a_file_that_fails_half_way_is_not_left_behind(log, tmp_path):
    assert main(["export", "--out", str(tmp_path / "a.gpx"), "--log", str(log)]) == 2
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith("a.")] == []


def test_import_replaces_no_log_and_wants_a_file(log, tmp_path, capsys):
    out = tmp_path / "a.csv"
    assert main(["export", "--out", str(out), "--log", str(log)]) == 0
    assert main(["import", str(out), "--log", str(log)]) == 2
    assert "is there already" in capsys.readouterr().err
    with pytest.raises(SystemExit) as stop:
        main(["import", str(tmp_path / "none.csv"), "--log", "x"])
    assert stop.value.code == 2
    assert "there is no file or folder" in capsys.readouterr().err


def test_csv_of_a_whole_log_opens_with_pandas(log, tmp_path):
    out = tmp_path / "a.csv"
    assert main(["export", "--out", str(out), "--log", str(log)]) == 0
    assert pd.read_csv(out)["pack_current_a"].eq(0.1 + 0.2).all()


def test_a_pipe_is_written_into_and_stays_one(log, tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with subprocess.Popen(["cat", str(pipe)], stdout=subprocess.PIPE) as reader:
        assert main(["export", "1", "--out", str(pipe), "--log", str(log)]) == 0
        assert reader.stdout.read().startswith(b"utc_s,")
    assert pipe.is_fifo()


def test_a_link_stays_one(log, tmp_path):
    there, link = tmp_path / "there.csv", tmp_path / "link.csv"
    there.touch()
    link.symlink_to(there)
    assert main(["export", "1", "--out", str(link), "--log", str(log)]) == 0
    assert link.is_symlink()
    assert there.read_bytes().startswith(b"utc_s,")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--out", "x.xyz"], "wants one of the endings .csv, .bdf.csv, .parquet"),
        (["--format", "log", "--out", "x.log"], "taken in again only as FILE.sqlite"),
    ],
)
def test_a_name_that_could_not_come_back_is_refused(
    log, tmp_path, monkeypatch, capsys, options, says
):
    monkeypatch.chdir(tmp_path)
    assert main(["export", *options, "--log", str(log)]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.glob("x.*"))
