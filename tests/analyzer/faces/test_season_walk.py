"""The walk through a season is a script that runs, on a short log, as an installed package."""

import os
import subprocess
import sys

import pytest

from logger.reading import UtcFix
from logger.store import Store
from tests.support.invented import InventedLog
from tests.support.odd_logs import MONTH_S, START_US, motor_on


@pytest.fixture
def short_log(tmp_path):
    """Two short trips, a month apart."""
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(InventedLog.boat_toml, 1)
        for k in range(2):
            with store.writer(f"boot {k}") as writer:
                writer.add(UtcFix(0, START_US + k * MONTH_S * 1_000_000, "file", 1.0))
                motor_on(writer, 0, 0.0, lasts_s=420)
    return path


def test_the_walk_runs_and_leaves_its_pictures(repository, tmp_path, short_log):
    script = repository / "analyzer/examples/season_walk.py"
    place = tmp_path / "site"
    place.mkdir()
    (place / "keelwatt").symlink_to(repository / "analyzer/faces/python")
    done = subprocess.run(
        [sys.executable, script, short_log, tmp_path / "out"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": f"{place}{os.pathsep}{repository}"},
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    # 420 s at 2.2 m/s, twice: 1848 m, by hand a nautical mile
    assert "2 trips, 1 nmi" in done.stdout
    pictures = {path.name for path in (tmp_path / "out").glob("*.png")}
    assert pictures == {
        "mile_by_month.png", "power_against_speed.png", "growth.png", "watt_hours.png",
    }  # fmt: skip
