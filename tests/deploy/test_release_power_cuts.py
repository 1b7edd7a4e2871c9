"""Another release from the pages: a power cut at every step of taking it, of giving it up and of
going back."""

import os
import shutil
from pathlib import Path

import pytest

from tests.support.board import READS, Board, words_of, write_log
from tests.support.signing import release_file, send, signed

pytestmark = pytest.mark.skipif(not shutil.which("openssl"), reason="wants openssl")

MANY = 400  # steps that no act has
FEW = 3  # cuts of each kind in a build, spread over all steps; every one with KEELWATT_FULL


def with_power_cuts(board: Board, act: str, ready, whole) -> int:
    """Cuts an act before and after its steps; how many steps it has.

    Args:
        ready: Lays out the board.
        whole: Looks at it after it was switched on again.
    """
    state = board.root.parent / "as-it-was"
    ready()
    shutil.copytree(board.root, state, symlinks=True)
    steps = {when: cut(board, state, act, MANY, when) for when in ("before", "after")}
    for when, count in steps.items():
        every = 1 if os.environ.get("KEELWATT_FULL") else max(count // FEW, 1)
        for number in range(1, count + 1, every):
            assert cut(board, state, act, number, when) == number, "it was not cut off there"
            write_log(board.log, "at the start")  # the recorder is up before what goes on with it
            board.power_on()
            whole(number, when)
    return sum(steps.values())


def cut(board: Board, state: Path, act: str, number: int, when: str) -> int:
    """An act on the board as it was, cut off at a step; how many steps were taken."""
    shutil.rmtree(board.root)
    shutil.copytree(state, board.root, symlinks=True)
    board.cut_at(number, when)
    board.change(act)
    left = board.root / "state/cut"
    return number - (int(left.read_text().split()[0]) if left.exists() else 0)


def all_words(board: Board) -> set[str]:
    """Of the log and of every copy of it that was put aside."""
    return {w for path in board.log.parent.glob("log*.sqlite") for w in words_of(path)}


@pytest.fixture
def nested(tmp_path: Path, repository: Path, key: Path) -> Board:
    (tmp_path / "board").mkdir()
    made = Board(tmp_path / "board", repository)
    done = made.run("install.sh", str(signed(made.wheels("1.0", store=READS), key)))
    assert done.returncode == 0, done.stderr
    write_log(made.log, "before")
    return made


def test_a_power_cut_at_every_step_of_an_update(nested: Board, key: Path):
    file = release_file(nested, key, "1.1", store=READS)
    content = file.read_bytes()

    def whole(number, when):
        assert nested.version() in ("1.0", "1.1"), (number, when)
        assert {"before", "at the start"} <= set(words_of(nested.log)), (number, when)
        assert not (nested.root / "opt/keelwatt/changing").exists(), (number, when)
        assert not (nested.root / "opt/keelwatt/incoming").exists(), (number, when)
        if number % 3 == 1 and nested.version() == "1.0":  # and it can be done again
            send(nested, content)
            nested.change("file")
            assert nested.version() == "1.1", (number, when, nested.said)

    assert with_power_cuts(nested, "file", lambda: send(nested, content), whole) > 40


def test_a_power_cut_at_every_step_of_undoing_one_that_falls(nested: Board, key: Path):
    content = release_file(nested, key, "1.1", store="").read_bytes()

    def ready():
        send(nested, content)
        nested.set_state("falls")

    def whole(number, when):
        # The new one falls whenever it is tried; after a cut before the trial the old one is there.
        assert nested.version() == "1.0", (number, when)
        assert {"before", "at the start"} <= all_words(nested), (number, when)
        assert nested.log.exists(), (number, when)
        assert not (nested.root / "opt/keelwatt/changing").exists(), (number, when)

    assert with_power_cuts(nested, "file", ready, whole) > 50


def test_a_power_cut_at_every_step_of_going_back(nested: Board, key: Path):
    content = [release_file(nested, key, v, store=s) for v, s in (("1.1", ""), ("1.2", READS))]

    def ready():
        for one in content:
            send(nested, one)
            assert nested.change("file").returncode == 0
        write_log(nested.log, "after")

    def whole(number, when):
        assert nested.version() in ("1.1", "1.2"), (number, when)
        assert {"before", "after", "at the start"} <= all_words(nested), (number, when)
        assert nested.log.exists(), (number, when)
        assert not (nested.root / "opt/keelwatt/changing").exists(), (number, when)
        if nested.version() == "1.1":  # which cannot read the newer log
            assert "after" not in words_of(nested.log), (number, when)

    assert with_power_cuts(nested, "back", ready, whole) > 15
