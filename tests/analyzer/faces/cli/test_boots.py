"""How each boot was dated, and a wrong date taken back."""

import json
from pathlib import Path

import pytest

from analyzer.faces.cli.main import main
from logger.boat.starter import starter_text
from logger.reading import Group, Quantum, Row, UtcFix
from logger.store import Store

S = 1_000_000
NOON_US = 1_790_000_000 * S
GROUP = Group("test/all", ("pack_voltage_v",), (Quantum(),))


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Four boots a day apart, the second dated ten years ahead, and a fifth without a date."""
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(starter_text(), 0)
        for boot, utc_us in enumerate((0, 3652, 2, 3, None)):
            with store.writer(f"boot {boot}") as writer:
                if utc_us is not None:
                    writer.add(UtcFix(0, NOON_US + utc_us * 86400 * S, "gnss", 0.1))
                writer.add(Row(GROUP, 0, (52.0,)))
                writer.add(Row(GROUP, 3600 * S, (52.0,)))
    return path


def rows(log: Path, capsys: pytest.CaptureFixture[str], *more: str) -> list[dict]:
    assert main(["boots", "--log", str(log), "--json", *more]) == 0
    return json.loads(capsys.readouterr().out)


def test_each_boot_says_who_dated_it(log: Path, capsys: pytest.CaptureFixture[str]):
    found = rows(log, capsys)
    assert [row["dated_by"] for row in found] == ["gnss"] * 4 + [None]
    assert [row["believed"] for row in found] == [True, False, True, True, False]
    assert found[1]["first_utc_s"] < found[2]["first_utc_s"]
    assert main(["boots", "--log", str(log)]) == 0
    text = " ".join(capsys.readouterr().out.split()).split("Boot ")[1:]
    assert "dated by a receiver" in text[0]
    assert "not believed" in text[1]
    assert "no date came" in text[4]


def test_a_wrong_date_is_taken_back(log: Path, capsys: pytest.CaptureFixture[str]):
    found = rows(log, capsys, "--forget-date", "4")
    assert found[3]["dated_by"] is None
    assert found[3]["remark"] == "Its date was taken back."
    assert found[3]["first_utc_s"] > found[2]["last_utc_s"]
    assert main(["boots", "--log", str(log), "--forget-date", "9"]) == 2
    assert "`keelwatt boots` lists them" in capsys.readouterr().err
