"""The log itself as an export."""

from pathlib import Path

import pytest

from analyzer.faces.cli.main import main
from logger.store import Store


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.put_learned("hull", {"a": 1}, 0, 10)
    return path


def test_export_of_the_log_is_a_log(log: Path, tmp_path: Path):
    copy = tmp_path / "copy.sqlite"
    assert main(["export", "--format", "log", "--out", str(copy), "--log", str(log)]) == 0
    with Store.open(copy) as store:
        assert [x.value for x in store.learned("hull")] == [{"a": 1}]


@pytest.mark.parametrize("options", [[], ["3", "--out", "x"]])
def test_export_of_the_log_wants_a_file_and_no_trip(
    log: Path, options: list[str], capsys: pytest.CaptureFixture[str]
):
    assert main(["export", *options, "--format", "log", "--log", str(log)]) == 2
    assert "--format log --out FILE" in capsys.readouterr().err


def test_export_of_the_log_replaces_nothing(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    there = tmp_path / "there.sqlite"
    there.write_text("mine")
    assert main(["export", "--format", "log", "--out", str(there), "--log", str(log)]) == 2
    assert there.read_text() == "mine"
    assert "is there already" in capsys.readouterr().err
