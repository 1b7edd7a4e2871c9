"""Completion by a real shell, and the manual page."""

import shutil
import subprocess

import pytest

from analyzer.faces.cli import main

COMMANDS = {command.name for group in main.GROUPS for command in group.COMMANDS}
BASH = shutil.which("bash") or "bash"


@pytest.fixture
def script(capsys):
    """Gives what a command prints."""

    def printed(*arguments):
        assert main.main(list(arguments)) == 0
        return capsys.readouterr().out

    return printed


def offered(script, *words):
    """What bash offers for the last of the words."""
    ask = (
        f"{script}\nCOMP_WORDS=(keelwatt {' '.join(words)}); COMP_CWORD={len(words)}; "
        "COMPREPLY=(); _keelwatt; printf '%s\\n' \"${COMPREPLY[@]}\""
    )
    done = subprocess.run([BASH, "-c", ask], capture_output=True, text=True, check=False)
    assert done.stderr == ""
    return done.stdout.split()


def test_bash_completes_commands_and_options(script):
    text = script("completion", "bash")
    assert offered(text, "ra") == ["range"]
    before = {"-h", "--help", "--version", "-q", "--quiet", "-v", "--verbose"}
    assert set(offered(text, "''")) == COMMANDS | before
    assert offered(text, "range", "--sp") == ["--speed"]
    assert "--home-stream" in offered(text, "range", "--h")
    assert offered(text, "trips", "--sp") == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_command_and_a_choice_are_in_each_shell_s_script(script, shell):
    text = script("completion", shell)
    assert all(command in text for command in COMMANDS)
    assert "home-stream" in text


def test_manual_names_every_command_and_says_what_the_exit_status_means(script):
    page = script("manual")
    assert page.startswith(".TH KEELWATT 1")
    assert all(f".SS {command}\n" in page for command in COMMANDS)
    assert ".SH EXIT STATUS" in page
    # a leading dot would be taken for a macro: only ours may stand there
    macros = {line.split()[0] for line in page.splitlines() if line.startswith(".")}
    assert macros <= {".TH", ".SH", ".SS", ".TP", ".B", ".I", ".PP", ".nf", ".fi"}
