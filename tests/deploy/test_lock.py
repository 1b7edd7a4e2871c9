"""What a release is made of is settled beforehand, for every processor and Python."""

import importlib.util
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement

LINE = re.compile(r"([a-z0-9-]+)==([^ ]+) --hash=sha256:[0-9a-f]{64}")
PLATFORMS = [
    f"{processor}-{python}"
    for processor in ("x86_64", "aarch64")
    for python in ("3.11", "3.12", "3.13", "3.14")
]


def locked(repository: Path, platform: str) -> dict[str, str]:
    """Version by name; every line is of the one form."""
    lines = (repository / f"deploy/lock/{platform}.txt").read_text().splitlines()
    found = [LINE.fullmatch(line) for line in lines]
    assert all(found), platform
    return {match[1]: match[2] for match in found if match}


@pytest.mark.parametrize("platform", PLATFORMS)
def test_every_dependency_is_locked_at_a_version_it_allows(repository: Path, platform: str):
    project = tomllib.loads((repository / "pyproject.toml").read_text())["project"]
    lock = locked(repository, platform)
    for wanted in map(Requirement, project["dependencies"]):
        assert wanted.name in lock, f"sh deploy/lock.sh: {wanted} is not in {platform}"
        assert wanted.specifier.contains(lock[wanted.name]), f"{wanted} in {platform}"
    assert "pip" in lock  # installs the others on the board


@pytest.mark.parametrize("platform", PLATFORMS)
def test_a_board_does_not_carry_what_a_desk_wants(repository: Path, platform: str):
    # the extras' large libraries: 383 MB in 55 packages before they were split off (issue 22)
    assert not {"pandas", "sqlalchemy", "scipy", "pyarrow"} & set(locked(repository, platform))


def test_what_pip_chose_is_written_with_its_check_sum(repository: Path, tmp_path: Path):
    # the form of pip's installation report, version 1 (pip's reference)
    chosen = [
        {
            "metadata": {"name": name, "version": version},
            "download_info": {
                "url": "https://example.invalid/x.whl",
                "archive_info": {"hashes": {"sha256": digit * 64}},
            },
        }
        for name, version, digit in (("Typing_Extensions", "4.1", "b"), ("numpy", "2.0", "a"))
    ]
    report = tmp_path / "report.json"
    report.write_text(json.dumps({"version": "1", "install": chosen}))
    done = subprocess.run(
        [sys.executable, str(repository / "deploy/lock.py"), str(report)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines() == [
        f"numpy==2.0 --hash=sha256:{'a' * 64}",
        f"typing-extensions==4.1 --hash=sha256:{'b' * 64}",
    ]
    assert "example.invalid" not in done.stdout


def test_what_is_wanted_has_no_extras(repository: Path):
    spec = importlib.util.spec_from_file_location("lock", repository / "deploy/lock.py")
    assert spec
    assert spec.loader
    lock = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(lock)
    names = [Requirement(line).name for line in lock.wanted(repository / "pyproject.toml")]
    assert "numpy" in names
    assert not {"pandas", "pytest", "pyarrow"} & set(names)
