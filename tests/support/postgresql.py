"""A PostgreSQL server of our own, on a socket in its own folder."""

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa


@contextlib.contextmanager
def server() -> Iterator[tuple[str, str]]:
    """Its version and its URL; the test is skipped where it is not installed."""
    initdb, program = _program("initdb"), _program("postgres")
    root = os.geteuid() == 0  # which the server refuses to be
    who = {"user": "postgres", "group": "postgres", "extra_groups": []} if root else {}
    folder = Path(tempfile.mkdtemp(prefix="keelwatt-pg-"))
    try:
        if root:
            shutil.chown(folder, "postgres", "postgres")
        quiet = {"stdout": subprocess.DEVNULL, "cwd": folder, **who}
        data = str(folder / "data")
        options = ["-D", data, "-U", "keelwatt", "-A", "trust", "-E", "UTF8", "--no-sync"]
        subprocess.run([initdb, *options], check=True, **quiet)
        asked = [program, "-D", data, "-k", str(folder), "-c", "listen_addresses=", "-F"]
        running = subprocess.Popen(asked, stderr=subprocess.DEVNULL, **quiet)
        try:
            url = f"postgresql+psycopg://keelwatt@/postgres?host={folder}"
            yield _answers(url), url
        finally:
            running.send_signal(signal.SIGINT)
            running.wait(30)
    finally:
        shutil.rmtree(folder)


def engine(url: str) -> sa.Engine:
    """A way to a database that keeps no connection open."""
    return sa.create_engine(url, poolclass=sa.NullPool)


def _program(name: str) -> str:
    found = shutil.which(name) or next(
        (str(p) for p in sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))), None
    )
    if found is None:
        pytest.skip("PostgreSQL is not installed here (Debian: apt install postgresql)")
    return found


def _answers(url: str) -> str:
    for _ in range(300):
        with contextlib.suppress(sa.exc.OperationalError), engine(url).connect() as connection:
            return str(connection.execute(sa.text("SHOW server_version")).scalar_one())
        time.sleep(0.1)
    raise AssertionError("the database server did not start")
