"""Another release from the pages: taken, refused, taken back."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.support.board import BROKEN, READS, Board, words_of, write_log
from tests.support.signing import PYTHON, make_key, release_file, send, signed

pytestmark = pytest.mark.skipif(not shutil.which("openssl"), reason="wants openssl")


@pytest.fixture
def board(tmp_path: Path, repository: Path, key: Path) -> Board:
    """With release 1.0, signed, and a log."""
    made = Board(tmp_path, repository)
    done = made.run("install.sh", str(signed(made.wheels("1.0", store=READS), key)))
    assert done.returncode == 0, done.stderr
    write_log(made.log, "before")
    return made


def releases(board: Board) -> list[str]:
    folder = board.root / "opt/keelwatt/releases"
    return sorted(p.name for p in folder.iterdir() if p.is_dir())


def kept(board: Board) -> dict[str, str]:
    """Every file of program, units and data but the log's copies, with its content's sum."""
    found = {}
    for place in ("opt/keelwatt", "etc", "var/lib/keelwatt"):
        for path in (board.root / place).rglob("*"):
            if path.is_file() and path.name not in (".lock",):
                digest = hashlib.sha256(path.read_bytes()).hexdigest()
                found[str(path.relative_to(board.root))] = digest
    return found


def test_a_release_from_a_phone_is_taken(board: Board, key: Path):
    send(board, release_file(board, key, "1.1", store=READS))
    done = board.change("file")
    assert done.returncode == 0, done.stderr
    assert board.version() == "1.1"
    assert "release 1.1 is in use" in board.said
    (copy,) = (board.log.parent / "before-update").glob("*.sqlite")
    assert words_of(copy) == words_of(board.log) == ["before"]
    assert not (board.root / "opt/keelwatt/incoming").exists()
    assert not (board.root / "opt/keelwatt/changing").exists()
    assert not list((board.log.parent / "incoming").iterdir())
    assert not (board.root / "run/keelwatt-update/busy").exists()
    assert not (board.root / "state/as-root").exists()
    calls = board.calls()
    assert calls.index("sync") < calls.index("systemctl restart")


def test_one_that_falls_is_taken_back_and_told(board: Board, key: Path):
    board.set_state("falls")
    send(board, release_file(board, key, "1.1", store=READS))
    assert board.change("file").returncode == 1
    assert board.version() == "1.0"
    assert "the update was undone" in board.said
    assert words_of(board.log) == ["before"]


def test_one_is_taken_back_although_the_recorder_has_no_sources_yet(board: Board, key: Path):
    # found on a booted system (tests/package): to start such a recorder fails under any release
    board.set_state("is-active-not-keelwatt-record.service")
    board.set_state("start-fails")
    board.set_state("falls")
    send(board, release_file(board, key, "1.1", store=READS))
    assert board.change("file").returncode == 1
    assert board.version() == "1.0"
    assert "the update was undone" in board.said
    assert not (board.root / "opt/keelwatt/changing").exists()
    assert not (board.root / "run/keelwatt-update/busy").exists()


def test_one_that_does_not_start_changes_nothing(board: Board, key: Path):
    before = releases(board)
    send(board, release_file(board, key, "1.1", BROKEN))
    assert board.change("file").returncode == 1
    assert (board.version(), releases(board)) == ("1.0", before)
    assert "does not start" in board.said


def test_going_back_is_told(board: Board, key: Path):
    send(board, release_file(board, key, "1.1", store=READS))
    board.change("file")
    write_log(board.log, "after")
    assert board.change("back").returncode == 0
    assert board.version() == "1.0"
    assert words_of(board.log) == ["before", "after"]  # 1.0 can read it
    assert board.said.startswith("back to release 1.0")
    assert board.change("back").returncode == 1
    assert "no release before" in board.said


def test_going_back_to_one_that_cannot_read_the_log_takes_the_copy(board: Board, key: Path):
    for version, store in (("1.1", ""), ("1.2", READS)):
        send(board, release_file(board, key, version, store=store))
        assert board.change("file").returncode == 0, board.said
    write_log(board.log, "after")
    assert board.change("back").returncode == 0
    assert (board.version(), words_of(board.log)) == ("1.1", ["before"])
    (aside,) = board.log.parent.glob("log-*.sqlite")
    assert words_of(aside) == ["before", "after"]


def rewritten(file: Path, key: Path, change) -> bytes:
    """A release whose list is another, signed again: its maker's own mistake or malice."""
    content = file.read_bytes()
    at = len(b"keelwatt release 1\n")
    length = int(content[at : at + 8])
    start = at + 9 + 64
    told = json.loads(content[start : start + length])
    body = change(told, content[start + length :])
    text = json.dumps(told).encode()
    (file.parent / "list").write_bytes(text)
    signature = subprocess.run(
        ["openssl", "pkeyutl", "-sign", "-inkey", str(key), "-rawin",
         "-in", str(file.parent / "list")], check=True, capture_output=True,
    ).stdout  # fmt: skip
    return content[:at] + f"{len(text):08}\n".encode() + signature + text + body


def named(name):
    def change(told, body):
        told["files"][0][0] = [name]
        return body

    return change


def larger(told, body):
    told["files"][0][1] = 10**9
    return body


def twice(told, body):
    told["files"][1][0] += told["files"][0][0]
    return body


def inside(told, body):
    told["files"][1][0] = [told["files"][0][0][0] + "/x"]
    return body


def many(told, body):
    told["files"] += [[[f"deploy/n{n}"], 0, "0" * 64] for n in range(3000)]
    return body


def told_as(**words):
    def change(told, body):
        told.update(words)
        return body

    return change


BAD_LISTS = {
    "a path upwards": (named("deploy/../../../etc/passwd"), "a name in it"),
    "a whole path": (named("/etc/passwd"), "a name in it"),
    "a hidden name": (named("deploy/.x"), "a name in it"),
    "a blank": (named("deploy/a b"), "a name in it"),
    "a line end": (named("deploy/a\n"), "a name in it"),
    "another folder": (named("share/update.sh"), "a name in it"),
    "no name": (named(7), "cannot be read"),
    "twice": (twice, "twice"),
    "a file in a file": (inside, "twice"),
    "too large": (larger, "larger than any"),
    "too many": (many, "larger than any"),
    "less than nothing": (told_as(made_s=-1), "cannot be read"),
    "no version": (told_as(version="1.1; reboot"), "its version"),
    "no list": (told_as(files=None), "cannot be read"),
    "more behind": (lambda told, body: body + b"x", "more in it"),
    "changed": (lambda told, body: body[:-1] + b"\xff", "damaged"),
    "cut off": (lambda told, body: body[:-1], "damaged"),
}


@pytest.mark.parametrize("what", BAD_LISTS)
def test_what_its_own_maker_got_wrong_is_refused(board: Board, key: Path, what: str):
    change, words = BAD_LISTS[what]
    content = rewritten(release_file(board, key, "1.1"), key, change)
    before = kept(board)
    send(board, content)
    done = board.change("file")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert words in board.said
    assert board.said.endswith("nothing was changed")
    assert kept(board) == before


def strange(file: Path, folder: Path) -> dict[str, tuple[bytes, str]]:
    """Files that do not even come from the right maker."""
    good = file.read_bytes()
    start = len(b"keelwatt release 1\n")
    no_signature = good[: start + 9] + bytes(64) + good[start + 73 :]
    flipped = bytearray(good)
    flipped[start + 9 + 64 + 40] ^= 1  # in the list
    return {
        "empty": (b"", "no release of keelwatt"),
        "noise": (b"\x7fELF" + bytes(10_000), "no release of keelwatt"),
        "a tar with a link": (b"../../etc/passwd" + bytes(500), "no release of keelwatt"),
        "its beginning": (good[: start + 40], "no whole release"),
        "a long list": (good[:start] + b"99999999\n" + good[start + 9 :], "no whole release"),
        "no length": (good[:start] + b"-0000001\n" + good[start + 9 :], "no whole release"),
        "half a list": (good[: start + 9 + 64 + 50], "no whole release"),
        "not signed": (no_signature, "not signed by the key"),
        "another list": (bytes(flipped), "not signed by the key"),
    }


def test_what_comes_from_somebody_else_is_refused(board: Board, key: Path, tmp_path: Path):
    file = release_file(board, key, "1.1")
    others = strange(file, tmp_path)
    stranger = release_file(board, make_key(tmp_path / "strange.key"), "1.2")
    others["a strange key"] = (stranger.read_bytes(), "not signed by the key")
    before = kept(board)
    for what, (content, words) in others.items():
        send(board, content)
        assert board.change("file").returncode == 1, what
        assert words in board.said, what
        assert kept(board) == before, what


@pytest.mark.parametrize(
    ("version", "told", "words"),
    [
        ("0.9", {}, "older than the one in use"),
        ("1.1", {"processor": "sparc64"}, "it is for a sparc64 computer"),
        ("1.1", {"python": "3.9"}, f"nothing for Python {PYTHON}"),
    ],
)
def test_one_for_another_computer_or_an_older_one_is_refused(
    board: Board, key: Path, version: str, told: dict[str, str], words: str
):
    before = kept(board)
    send(board, release_file(board, key, version, **told))
    assert board.change("file").returncode == 1
    assert words in board.said
    assert kept(board) == before


def test_an_older_one_of_the_same_version_is_refused_by_its_age(board: Board, key: Path):
    send(board, release_file(board, key, "1.1", made_s="5000"))
    assert board.change("file").returncode == 0, board.said
    for made_s, words in (("5000", "in use already"), ("4999", "older than the one in use")):
        send(board, release_file(board, key, "1.1", made_s=made_s))
        assert board.change("file").returncode == 1
        assert words in board.said
    send(board, release_file(board, key, "1.1", made_s="5001"))
    assert board.change("file").returncode == 0


def test_a_computer_without_a_key_takes_none(tmp_path: Path, repository: Path, key: Path):
    board = Board(tmp_path, repository)
    assert board.run("install.sh", board.wheels("1.0")).returncode == 0
    send(board, release_file(board, key, "1.1"))
    assert board.change("file").returncode == 1
    assert "knows no key" in board.said
    assert board.version() == "1.0"
    # A signed one by hand teaches it the key; and a wrong one does not.
    wheels = signed(board.wheels("1.1"), key)
    (wheels / "SHA256SUMS.sig").write_bytes(bytes(64))
    assert board.run("update.sh", str(wheels)).returncode == 1
    assert not (board.root / "opt/keelwatt/release.pub").exists()
    assert board.run("update.sh", str(signed(wheels, key))).returncode == 0
    send(board, release_file(board, key, "1.2"))
    assert board.change("file").returncode == 0, board.said


def test_a_link_laid_where_a_release_is_sent_is_read_as_its_layer_s_user(board: Board):
    (board.root / "var/lib/keelwatt/incoming").mkdir()
    secret = board.root / "etc/secret"
    secret.write_text("root's")
    (board.root / "var/lib/keelwatt/incoming/keelwatt.release").symlink_to(secret)
    board.change("file")
    assert secret.read_text() == "root's"
    assert not (board.root / "state/as-root").exists()


def test_two_changes_at_once_are_one(board: Board, key: Path):
    send(board, release_file(board, key, "1.1"))
    with (board.root / "opt/keelwatt/.lock").open("w") as held:
        import fcntl

        fcntl.flock(held, fcntl.LOCK_EX)
        assert board.change("file").returncode == 1
        assert board.run("update.sh", board.wheels("1.1")).returncode == 1
    assert board.version() == "1.0"
