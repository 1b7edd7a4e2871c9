"""A MariaDB server of our own, on a socket in its own folder.

Its text is in an older set of letters, as such servers have it unless they are told otherwise.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.support.postgresql import engine


@contextlib.contextmanager
def server() -> Iterator[tuple[str, str]]:
    """Its version and its URL; the test is skipped where it or its driver is not installed."""
    pytest.importorskip("pymysql", reason="pymysql is not installed (test extra)")
    install, program = _program("mariadb-install-db"), _program("mariadbd")
    root = os.geteuid() == 0
    folder = Path(tempfile.mkdtemp(prefix="keelwatt-my-"))
    try:
        who = ["--user=mysql"] if root else []
        if root:
            shutil.chown(folder, "mysql", "mysql")
        data = ["--no-defaults", f"--datadir={folder}/data", *who]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        made = [install, *data, "--auth-root-authentication-method=normal", "--skip-test-db"]
        subprocess.run(made, check=True, **quiet)
        asked = [program, *data, f"--socket={folder}/socket", "--skip-networking"]
        letters = ["--character-set-server=latin1", "--skip-grant-tables"]
        running = subprocess.Popen([*asked, *letters], **quiet)
        try:
            _wait(folder / "socket")
            yield _made(f"mysql+pymysql://root@localhost/?unix_socket={folder}/socket")
        finally:
            running.terminate()
            running.wait(30)
    finally:
        shutil.rmtree(folder)


def _program(name: str) -> str:
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        pytest.skip("MariaDB is not installed here (Debian: apt install mariadb-server)")
    return found


def _wait(socket: Path) -> None:
    ask = [_program("mariadb-admin"), "--no-defaults", f"--socket={socket}", "ping"]
    for _ in range(600):
        done = subprocess.run(ask, capture_output=True, check=False)
        if done.returncode == 0:
            return
        time.sleep(0.1)
    raise AssertionError("the database server did not start")


def _made(url: str) -> tuple[str, str]:
    with engine(url).connect() as connection:
        connection.execute(sa.text("CREATE DATABASE keelwatt"))
        version = str(connection.execute(sa.text("SELECT VERSION()")).scalar_one())
    return version, url.replace("/?", "/keelwatt?")
