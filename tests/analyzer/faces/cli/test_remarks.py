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
