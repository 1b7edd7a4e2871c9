"""export --to: a log carried into a database, as a user meets it."""

import sqlite3
from contextlib import closing

import pytest

from analyzer.faces.cli.main import main

pytestmark = pytest.mark.usefixtures("own_home")


def test_trips_and_flags_go_along(demo_log, tmp_path, capsys):
    url = f"sqlite:///{tmp_path}/db"
    asked = ["export", "--to", url, "--log", str(demo_log), "--step", "60"]
    assert main(asked) == 0
    assert "Carried" in capsys.readouterr().err
    with closing(sqlite3.connect(tmp_path / "db")) as there:
        ((start,),) = there.execute("SELECT start_utc FROM keelwatt_trips").fetchall()
        titles = there.execute("SELECT title FROM keelwatt_flags").fetchall()
    assert start.startswith("2026-05-16 09:11")
    assert any("Cell 11" in title for (title,) in titles)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (["--to", "hello"], "hello is no database URL"),
        (["--to", "sqlite:////nowhere/db"], "unable to open database file"),
        (["1", "--to", "sqlite://"], "takes what is new in the whole log"),
    ],
)
def test_what_cannot_be_is_a_sentence(demo_log, capsys, asked, says):
    assert main(["export", *asked, "--log", str(demo_log)]) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1
