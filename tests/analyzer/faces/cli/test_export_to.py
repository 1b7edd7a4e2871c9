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
        (["--follow"], "--follow keeps a database up: it goes with --to URL"),
    ],
)
def test_what_cannot_be_is_a_sentence(demo_log, capsys, asked, says):
    assert main(["export", *asked, "--log", str(demo_log)]) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1


def test_a_database_that_is_away_for_a_while_is_tried_again(
    demo_log, tmp_path, capsys, monkeypatch
):
    database, away = tmp_path / "db", tmp_path / "away"
    turns = iter(range(5))

    def sleep(_):
        turn = next(turns)
        if turn == 0:  # the folder is gone: SQLite cannot open the file
            database.rename(away)
            database.mkdir()
        elif turn == 1:
            database.rmdir()
            away.rename(database)
        else:
            raise KeyboardInterrupt

    monkeypatch.setattr("time.sleep", sleep)
    asked = ["export", "--to", f"sqlite:///{database}", "--log", str(demo_log), "--step", "600"]
    assert main([*asked, "--follow"]) == 130
    said = capsys.readouterr().err.splitlines()
    assert [line.partition(" ")[0] for line in said if line.startswith("Carried")] == [
        "Carried"
    ] * 2
    assert any("unable to open database file; tried again in 60 s." in line for line in said)
