"""The container's own programs, without a container."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture
def folder(repository: Path) -> Path:
    return repository / "deploy/container"


def healthy(folder: Path, what: str, log: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, folder / "healthy.py", what],
        env={**os.environ, "KEELWATT_LOG": str(log), "PYTHONPATH": str(folder.parents[1])},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_recorder_that_has_no_log_is_not_well(folder: Path, tmp_path: Path):
    done = healthy(folder, "record", tmp_path / "log.sqlite")
    assert done.returncode == 1
    assert "Nothing has been recorded yet" in done.stderr


def test_a_recorder_that_wrote_long_ago_is_not_well(folder: Path, demo_log: Path):
    done = healthy(folder, "record", demo_log)
    # The demo's outing was in May 2026.
    assert (done.returncode, done.stderr.endswith("days ago.\n")) == (1, True)


def test_the_first_start_makes_a_boat_file_and_later_ones_leave_it(folder: Path, tmp_path: Path):
    program = tmp_path / "bin/keelwatt"
    program.parent.mkdir()
    program.write_text('#!/bin/sh\necho "keelwatt $*"\n')
    program.chmod(0o755)
    boat = tmp_path / "boat.toml"
    env = {"PATH": f"{program.parent}:{os.environ['PATH']}", "KEELWATT_BOAT": str(boat)}
    for word in ("record", "serve"):
        done = subprocess.run(
            ["sh", folder / "start.sh", word], env=env, capture_output=True, text=True, check=True
        )
        assert done.stdout == f"keelwatt {word}\n"
        assert boat.read_text().startswith("keelwatt check --starter")
        boat.write_text(f"{boat.read_text()}then {word}\n")
    assert boat.read_text().endswith("then record\nthen serve\n")
    assert [path.name for path in tmp_path.glob("boat*")] == ["boat.toml"]


def test_containers_are_given_little(folder: Path):
    text = (folder / "compose.yaml").read_text()
    for line in ("read_only: true", "cap_drop: [ALL]", "no-new-privileges:true"):
        assert line in text
    assert text.count("<<: *common") == 2
    assert "privileged: true" not in text
    recipe = (folder / "Containerfile").read_text()
    user = re.findall(r"(?m)^USER (\d+)", recipe)
    assert user
    assert int(user[-1]) >= 1000
