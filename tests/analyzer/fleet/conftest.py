"""Logs of a few invented boats; with KEELWATT_FULL=1 a thousand."""

import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor

import pytest

from tests.support.boat_days import make

FULL = bool(os.environ.get("KEELWATT_FULL"))
BOAT_DAYS = 1000 if FULL else 3


@pytest.fixture(scope="session")
def club(tmp_path_factory):
    """A folder with a log for each boat-day, and one file that is no log."""
    folder = tmp_path_factory.mktemp("club")
    asked = [(n, str(folder / f"{n:04d}.sqlite")) for n in range(BOAT_DAYS)]
    if FULL:
        context = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(2, mp_context=context) as pool:
            list(pool.map(make, asked, chunksize=10))
    else:
        for one in asked:
            make(one)
    (folder / "bad.sqlite").write_bytes(b"no log at all")
    return folder


@pytest.fixture
def few(club):
    """A pattern for the first three boats of the club, and what is no log."""
    return f"{club}/[0b][0a][0d][012.]*sqlite"
