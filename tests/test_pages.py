"""The written pages speak of what is there."""

import re
from pathlib import Path

import pytest

from analyzer.faces.cli.main import parser

# Parts of other scripts, what stands in the README, and what is installed as `keelwatt` itself.
NOT_TYPED = (
    "board.sh",
    "environment.sh",
    "platform.sh",
    "try.sh",
    "test.sh",
    "keelwatt-on-board.sh",
)
PAGES = ("README.md", "DEVELOPERS.md", "deploy/README.md", "deploy/by-hand.md")


def commands() -> dict[str, set[str]]:
    """Each command of keelwatt and its options."""
    (action,) = [a for a in parser()._actions if a.choices]
    assert isinstance(action.choices, dict)
    return {
        name: {o for a in sub._actions for o in a.option_strings}
        for name, sub in action.choices.items()
    }


@pytest.mark.parametrize("page", PAGES)
def test_every_command_and_option_a_page_shows_exists(repository: Path, page: str):
    known = commands()
    text = (repository / page).read_text()
    shown = re.findall(r"(?:\$ |`|/bin/)(?:sudo (?:-u \w+ )?)?keelwatt ([a-z]+)([^`\n]*)", text)
    assert shown or page in ("DEVELOPERS.md", "deploy/README.md")
    for name, rest in shown:
        assert name in known, name
        for option in re.findall(r"(?<!\S)--[a-z-]+", rest):
            assert option in known[name], f"{name} {option}"


def test_every_command_is_in_the_readme(repository: Path):
    text = (repository / "README.md").read_text()
    quiet = {"demo", "record"}  # shown through try.sh and the services
    missing = [name for name in commands() if name not in quiet and f"keelwatt {name}" not in text]
    assert not missing


@pytest.mark.parametrize("page", PAGES)
def test_every_file_a_page_names_is_there(repository: Path, page: str):
    text = (repository / page).read_text()
    for path in re.findall(r"\]\(([^)#:]+)\)", text):
        assert ((repository / page).parent / path).exists(), path
    for path in re.findall(r"\b((?:deploy|tests|logger|analyzer|replay)/[\w/.-]+\.\w+)", text):
        assert (repository / path).exists(), path
    for script in re.findall(r"share/([\w-]+\.(?:sh|py))", text):
        assert (repository / "deploy" / script).exists(), script


def test_every_script_on_board_is_explained(repository: Path):
    text = "".join((repository / page).read_text() for page in PAGES[2:])
    for script in (repository / "deploy").glob("*.sh"):
        assert script.name in NOT_TYPED or script.name in text, script
