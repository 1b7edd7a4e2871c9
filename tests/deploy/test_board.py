"""Installing, updating and going back on a make-believe boat computer."""

import ensurepip
import hashlib
import os
import shutil
import sys
from pathlib import Path

import pytest

from tests.support.board import BROKEN, GOOD, READS, Board, list_wheels, words_of, write_log
from tests.support.signing import make_key, signed


@pytest.fixture
def board(tmp_path: Path, repository: Path) -> Board:
    return Board(tmp_path, repository)


@pytest.fixture
def installed(board: Board) -> Board:
    done = board.run("install.sh", board.wheels("1.0"))
    assert done.returncode == 0, done.stderr
    return board


def test_install_puts_everything_in_place_and_starts_nothing_unasked(installed: Board):
    root = installed.root
    assert installed.version() == "1.0"
    assert (root / "var/lib/keelwatt/boat.toml").read_text() == "1.0 check --starter\n"
    assert (root / "etc/systemd/system/keelwatt-record.service").exists()
    assert (root / "etc/systemd/system/keelwatt-serve.service").exists()
    assert os.access(root / "usr/local/bin/keelwatt", os.X_OK)
    assert (root / "opt/keelwatt/current/share/rollback.sh").exists()
    assert "useradd" not in installed.calls() or "--system" in installed.calls()
    assert "enable" not in installed.calls()


def test_install_with_the_real_venv_and_pip(board: Board):
    board.python = Path(sys.executable)
    wheels = Path(board.wheels("1.0"))
    (wheels / "pip-1.0-py3-none-any.whl").unlink()
    (real,) = (Path(ensurepip.__file__).parent / "_bundled").glob("pip-*.whl")
    shutil.copy(real, wheels)
    list_wheels(wheels)
    done = board.run("install.sh", str(wheels))
    assert done.returncode == 0, done.stderr
    assert board.version() == "1.0"


def test_install_keeps_a_boat_file_that_is_there_and_starts(board: Board):
    boat = board.root / "var/lib/keelwatt/boat.toml"
    boat.parent.mkdir(parents=True)
    boat.write_text("mine")
    done = board.run("install.sh", board.wheels("1.0"))
    assert done.returncode == 0, done.stderr
    assert boat.read_text() == "mine"
    started = "keelwatt-errand.socket keelwatt-record.service keelwatt-serve.service"
    assert f"systemctl start --no-block {started}" in board.calls()


def test_update_copies_the_log_and_restarts(installed: Board):
    write_log(installed.log, "before")
    done = installed.run("update.sh", installed.wheels("1.1"))
    assert done.returncode == 0, done.stderr
    assert installed.version() == "1.1"
    (copy,) = (installed.log.parent / "before-update").glob("*.sqlite")
    assert words_of(copy) == ["before"]
    assert "systemctl restart keelwatt-record.service keelwatt-serve.service" in installed.calls()


def test_update_that_does_not_stay_up_is_undone_with_its_log(installed: Board):
    write_log(installed.log, "before")
    installed.set_state("falls")
    done = installed.run("update.sh", installed.wheels("1.1"))
    assert done.returncode == 1
    assert "the update was undone" in done.stderr
    assert installed.version() == "1.0"
    assert words_of(installed.log) == ["before"]
    asked = [line for line in installed.calls().splitlines() if line.startswith("systemctl")]
    assert asked[-1].startswith("systemctl start keelwatt-record")


def test_update_asks_no_more_of_a_recorder_than_it_did_before(installed: Board):
    # a boat that has no sources yet: the recorder tries again and again under any release
    installed.set_state("is-active-not-keelwatt-record.service")
    assert installed.run("update.sh", installed.wheels("1.1")).returncode == 0
    assert installed.version() == "1.1"
    installed.set_state("falls")  # and what did run must go on
    assert installed.run("update.sh", installed.wheels("1.2")).returncode == 1
    assert installed.version() == "1.1"


def test_undone_update_keeps_a_log_that_the_older_release_can_read(board: Board):
    assert board.run("install.sh", board.wheels("1.0", store=READS)).returncode == 0
    write_log(board.log, "before")
    board.set_state("falls")
    done = board.run("update.sh", board.wheels("1.1"))
    assert "the update was undone" in done.stderr
    assert board.version() == "1.0"
    assert not list(board.log.parent.glob("log-*.sqlite"))


def test_update_leaves_services_that_are_disabled_alone(installed: Board):
    installed.set_state("is-enabled-not")
    assert installed.run("update.sh", installed.wheels("1.1")).returncode == 0
    assert "restart" not in installed.calls()


@pytest.mark.parametrize("script", ["install.sh", "update.sh"])
@pytest.mark.parametrize(
    ("folder", "words"),
    [
        ("broken", "does not start on this computer"),
        ("damaged", "are damaged"),
        ("empty", "holds no"),
    ],
)
def test_bad_wheels_change_nothing(board: Board, script: str, folder: str, words: str):
    if script == "update.sh":
        assert board.run("install.sh", board.wheels("1.0")).returncode == 0
    bad = Path(board.wheels("2.0", BROKEN if folder == "broken" else GOOD))
    if folder == "damaged":
        wheel = bad / "keelwatt-2.0-py3-none-any.whl"
        wheel.write_bytes(wheel.read_bytes() + b"x")
    if folder == "empty":
        (bad / "keelwatt-2.0-py3-none-any.whl").unlink()
    done = board.run(script, str(bad))
    assert done.returncode == 1
    assert words in done.stderr
    releases = list((board.root / "opt/keelwatt/releases").glob("*/"))
    assert len(releases) == (1 if script == "update.sh" else 0)
    assert (board.root / "var/lib/keelwatt").exists() == (script == "update.sh")


def test_nothing_in_the_data_folder_is_touched_as_root(board: Board):
    """The services' user may have laid a link there to any file of root's."""
    assert board.run("install.sh", board.wheels("1.0", store=READS)).returncode == 0
    write_log(board.log, "before")
    assert board.run("update.sh", board.wheels("1.1", store=READS)).returncode == 0
    write_log(board.log, "after")
    assert board.run("rollback.sh", "--with-log").returncode == 0
    assert words_of(board.log) == ["before"]
    assert not (board.root / "state/as-root").exists()


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("no list", "has no SHA256SUMS"),
        ("one more", "is not in the list"),
        ("a blank", "is not in the list"),
        ("a link", "is not in the list"),
        ("a path", "a plain wheel's name"),
    ],
)
def test_a_folder_that_is_not_what_was_listed_changes_nothing(
    installed: Board, what: str, words: str
):
    bad = Path(installed.wheels("2.0"))
    listed = bad / "SHA256SUMS"
    wheel = bad / "keelwatt-2.0-py3-none-any.whl"
    if what == "no list":
        listed.unlink()
    elif what == "one more":
        shutil.copy(wheel, bad / "numpy-9.0-py3-none-any.whl")
    elif what == "a blank":
        shutil.copy(wheel, bad / "keelwatt-2.0-py3-none-any.whl x.whl")
    elif what == "a link":
        shutil.move(wheel, bad / "elsewhere")
        wheel.symlink_to(bad / "elsewhere")
    else:
        listed.write_text(listed.read_text().replace("  keel", "  ../wheels-2.0/keel"))
    done = installed.run("update.sh", str(bad))
    assert (done.returncode, installed.version()) == (1, "1.0")
    assert words in done.stderr


@pytest.mark.skipif(not shutil.which("openssl"), reason="wants openssl")
def test_a_board_that_knows_a_signer_takes_no_other(board: Board, tmp_path: Path):
    for name in ("own", "strange"):
        make_key(tmp_path / name)
    assert (
        board.run("install.sh", str(signed(board.wheels("1.0"), tmp_path / "own"))).returncode == 0
    )
    assert (
        board.run("update.sh", str(signed(board.wheels("1.1"), tmp_path / "own"))).returncode == 0
    )
    assert board.version() == "1.1"
    for folder in (
        board.wheels("1.2"),
        str(signed(board.wheels("1.3"), tmp_path / "strange")),
        str(signed(board.wheels("1.4"), tmp_path / "own")),
    ):
        if "1.4" in folder:  # changed after it was signed
            wheel = Path(folder) / "keelwatt-1.4-py3-none-any.whl"
            wheel.write_bytes(wheel.read_bytes() + b"x")
            digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
            (Path(folder) / "SHA256SUMS").write_text(f"{digest}  {wheel.name}\n")
        done = board.run("update.sh", folder)
        assert (done.returncode, board.version()) == (1, "1.1")
        assert "not signed by the key" in done.stderr


def test_rollback_goes_back_and_keeps_the_newer_log_aside(installed: Board):
    write_log(installed.log, "before")
    installed.run("update.sh", installed.wheels("1.1"))
    write_log(installed.log, "after")
    done = installed.run("rollback.sh")
    assert done.returncode == 0, done.stderr
    assert installed.version() == "1.0"
    assert words_of(installed.log) == ["before", "after"]

    assert installed.run("update.sh", installed.wheels("1.2")).returncode == 0
    write_log(installed.log, "later")
    assert installed.run("rollback.sh", "--with-log").returncode == 0
    assert words_of(installed.log) == ["before", "after"]
    (aside,) = installed.log.parent.glob("log-*.sqlite")
    assert words_of(aside) == ["before", "after", "later"]


def test_rollback_without_an_older_release_says_so(installed: Board):
    done = installed.run("rollback.sh")
    assert (done.returncode, installed.version()) == (1, "1.0")
    assert "no release before" in done.stderr


def test_a_release_cut_off_by_a_power_loss_is_never_used(installed: Board):
    (installed.root / "opt/keelwatt/releases/00000000-000000/bin").mkdir(parents=True)
    assert "no release before" in installed.run("rollback.sh").stderr


def test_update_keeps_three_releases(installed: Board):
    for n in range(5):
        folder = installed.root / f"opt/keelwatt/releases/2020010{n}-000000/bin"
        folder.mkdir(parents=True)
        (folder / "keelwatt").touch(0o755)
    installed.run("update.sh", installed.wheels("1.1"))
    kept = sorted(p.name for p in (installed.root / "opt/keelwatt/releases").iterdir())
    assert len(kept) == 3
    assert kept[0] == "20200104-000000"
    assert installed.run("rollback.sh").returncode == 0
    assert installed.version() == "1.0"


def test_update_goes_back_to_what_was_in_use_not_to_what_was_given_up(installed: Board):
    installed.run("update.sh", installed.wheels("1.1"))
    installed.run("rollback.sh")
    installed.set_state("falls")
    done = installed.run("update.sh", installed.wheels("1.2"))
    assert "the update was undone" in done.stderr
    assert installed.version() == "1.0"


def test_releases_given_up_never_push_out_the_one_to_go_back_to(installed: Board):
    for version in ("1.1", "1.2", "1.3"):
        installed.run("update.sh", installed.wheels(version))
        installed.run("rollback.sh")
    installed.run("update.sh", installed.wheels("1.4"))
    assert installed.version() == "1.4"
    installed.run("rollback.sh")
    assert installed.version() == "1.0"


def test_update_under_an_earlier_date_is_still_the_newer_release(installed: Board):
    date = installed.root / "bin/date"  # a board without a clock chip woke in 1970
    date.write_text("#!/bin/sh\necho 19700101-000007\n")
    date.chmod(0o755)
    write_log(installed.log, "before")
    for version in ("1.1", "1.2", "1.3", "1.4"):
        assert installed.run("update.sh", installed.wheels(version)).returncode == 0
    assert installed.version() == "1.4"
    installed.run("rollback.sh")
    assert installed.version() == "1.3"


def test_second_install_points_to_update(installed: Board):
    done = installed.run("install.sh", installed.wheels("1.1"))
    assert (done.returncode, installed.version()) == (1, "1.0")
    assert "update.sh" in done.stderr


def test_a_log_put_aside_is_never_put_over_another(installed: Board):
    date = installed.root / "bin/date"  # a board without a clock chip wakes in the same second
    date.write_text("#!/bin/sh\necho 19700101-000007\n")
    date.chmod(0o755)
    for version in ("1.1", "1.2"):
        write_log(installed.log, version)
        assert installed.run("update.sh", installed.wheels(version)).returncode == 0
        assert installed.run("rollback.sh", "--with-log").returncode == 0
    assert len(list(installed.log.parent.glob("log-*.sqlite"))) == 2
