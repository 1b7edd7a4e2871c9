"""--quiet and --verbose: what stands beside an answer, on the error output."""

import pytest

from analyzer.errors import NoLog
from analyzer.faces.cli import main
from analyzer.faces.cli.base import options, remarks

pytestmark = pytest.mark.usefixtures("own_home")


@pytest.fixture(autouse=True)
def usual():
    """What one test asks for is not the next one's."""
    yield
    remarks.want("usual")


def asked(capsys, *arguments):
    status = main.main(list(arguments))
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.mark.parametrize("words", [("-q", "cells"), ("cells", "--quiet"), ("cells", "-q")])
def test_quiet_leaves_the_answer_alone(demo_log, capsys, words):
    status, out, err = asked(capsys, *words, "--log", str(demo_log))
    assert (status, err) == (0, "")
    usual = asked(capsys, "cells", "--log", str(demo_log))
    assert out == usual[1]


def test_quiet_still_says_what_went_wrong(tmp_path, capsys):
    status, out, err = asked(capsys, "cells", "-q", "--log", str(tmp_path / "none"))
    assert (status, out) == (2, "")
    assert err.startswith("keelwatt: there is no log at ")
    assert err.count("\n") == 1


def test_quiet_says_that_nothing_was_stored(tmp_path, capsys):
    frames = tmp_path / "a.log"
    frames.write_text("(1609779922.655421) can0 123#1122\n")
    log = tmp_path / "log.sqlite"
    status, out, err = asked(capsys, "replay", str(frames), "--log", str(log), "-q")
    assert status == 1
    assert "can: 1 read" in out
    assert err.startswith("keelwatt: nothing of it could be stored")


def test_quiet_gives_no_hints_behind_an_answer(tmp_path, capsys):
    lines = tmp_path / "a.nmea"
    lines.write_text("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191119,020.3,E*6D\n" * 3)
    words = ("replay", str(lines), "--log", str(tmp_path / "log.sqlite"))
    usual, quiet = asked(capsys, *words), asked(capsys, *words[:3], str(tmp_path / "b"), "-q")
    assert "Played into" in usual[1]
    assert (quiet[0], quiet[2]) == (0, "")
    assert "Played into" not in quiet[1]


def test_a_remark_is_said_unless_quiet(capsys):
    remarks.tell_user("Beside it.")
    remarks.want("quiet")
    remarks.tell_user("Not said.")
    assert capsys.readouterr().err == "Beside it.\n"


def test_verbose_names_the_files_and_what_takes_how_long(demo_log, capsys):
    status, out, err = asked(capsys, "-v", "cells", "--log", str(demo_log))
    assert status == 0
    assert str(demo_log) in err
    lines = err.splitlines()
    assert all(line.split(" s  ")[0].strip().replace(".", "").isdigit() for line in lines)
    assert lines[-1].endswith("done")
    assert "Cell 11" in out


def test_verbose_says_where_an_error_came_from(monkeypatch, capsys):
    def lost(_options):
        raise NoLog("there is no log at here")

    monkeypatch.setattr(options, "looked_through", lost)
    status, _, err = asked(capsys, "trips", "--verbose")
    assert status == 2
    assert "Traceback" in err
    assert err.endswith("keelwatt: there is no log at here\n")
    assert "Traceback" not in asked(capsys, "trips")[2]


def test_the_demo_is_named_once(demo_log, capsys, tmp_path):
    folder = tmp_path / ".local/share/keelwatt/demo"
    folder.mkdir(parents=True)
    (folder / "log.sqlite").symlink_to(demo_log)
    assert asked(capsys, "flags")[2].count("Asked of the invented demo") == 1


def test_help_and_manual_tell_the_exit_status(capsys):
    with pytest.raises(SystemExit):
        main.main(["--help"])
    told = capsys.readouterr().out
    assert "  1    nothing was found or stored\n" in told
    assert max(map(len, told.splitlines())) <= 80
    assert ".B 143\nasked to end" in asked(capsys, "manual")[1]
