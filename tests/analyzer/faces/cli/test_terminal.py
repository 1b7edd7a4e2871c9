"""What an answer looks like on terminals of all kinds."""

import sys

import pytest

from analyzer.faces.cli.base import terminal
from analyzer.faces.cli.text import answers as tell
from analyzer.faces.cli.text import layout


@pytest.fixture
def on_terminal(monkeypatch):
    """A terminal with colours in place of the pipe that tests write into."""
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)


@pytest.mark.parametrize(("columns", "width"), [("20", 39), ("40", 39), ("80", 79), ("300", 119)])
def test_width_follows_the_terminal_within_reason(monkeypatch, columns, width):
    monkeypatch.setenv("COLUMNS", columns)
    assert terminal.width() == width


def test_a_pipe_is_eighty_wide(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)
    assert terminal.width() == 79


def test_bold_where_there_are_colours_only(monkeypatch, on_terminal):
    # ECMA-48: control sequence introducer, 1, m is bold; 0 ends it
    assert terminal.styled("8 nmi", "bold") == "\033[1m8 nmi\033[0m"
    assert terminal.styled("8 nmi", "notice") == "8 nmi"
    monkeypatch.setenv("NO_COLOR", "1")  # no-color.org: any value that is not empty
    assert terminal.styled("8 nmi", "bold") == "8 nmi"


@pytest.mark.parametrize(("name", "value"), [("TERM", "dumb"), ("NO_COLOR", "yes")])
def test_no_colours_where_they_are_not_wanted(monkeypatch, on_terminal, name, value):
    monkeypatch.setenv(name, value)
    assert terminal.styled("8 nmi", "act now") == "8 nmi"


def test_no_colours_into_a_pipe(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    assert terminal.styled("8 nmi", "act now") == "8 nmi"


@pytest.mark.parametrize("columns", [40, 60, 80, 120])
def test_an_answer_keeps_to_the_width(monkeypatch, log, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = tell.range_left(log.range_left()).splitlines()
    assert max(map(len, lines)) < max(columns, terminal.NARROWEST)


def test_the_answer_fits_a_screen_with_the_way_home_on_top(log):
    text = tell.range_left(log.range_left(home="straight"))
    head = text.splitlines()[:24]  # of a terminal of the usual 24 lines
    assert any(line.startswith("Home") for line in head)
    assert any(line.startswith("Next: ") for line in head)
    assert len(text.splitlines()) <= 48


def test_a_figure_and_its_unit_are_not_parted(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    text = "You are over 99 % sure to be there; 0.53 nmi, 12 kW, 3 h. " * 5
    for line in layout.wrapped(text).splitlines():
        assert not line.lstrip().startswith(("%", "nmi", "kW", "h."))


def test_the_program_is_called_as_the_shell_finds_it(monkeypatch, tmp_path):
    place = tmp_path / "own place" / "keelwatt"
    place.parent.mkdir()
    place.write_text("#!/bin/sh\n")
    place.chmod(0o755)
    monkeypatch.setattr(sys, "argv", [str(place)])
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.chdir(tmp_path)
    assert terminal.program() == "'own place/keelwatt'"
    monkeypatch.setenv("PATH", str(place.parent))
    assert terminal.program() == "keelwatt"
