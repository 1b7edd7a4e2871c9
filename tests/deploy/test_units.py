"""The systemd units: correct, and with little that could be abused."""

import re
import shutil
import socket
import subprocess
from pathlib import Path

import pytest

from analyzer.faces.cli import serve

UNITS = ("keelwatt-record.service", "keelwatt-serve.service", "keelwatt-errand@.service")
OTHERS = (
    "keelwatt-errand.socket",
    "keelwatt-stick@.service",
    "keelwatt-update@.service",
    "keelwatt-resume.service",
)
pytestmark = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="no systemd-analyze on this machine"
)


def analyze(*options: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", *options], capture_output=True, text=True, check=False
    )


@pytest.fixture
def tree(tmp_path: Path, repository: Path) -> Path:
    """A root with the units and the program they start."""
    folder = tmp_path / "etc/systemd/system"
    folder.mkdir(parents=True)
    for unit in (repository / "deploy/systemd").iterdir():
        shutil.copy(unit, folder)
    for path in (
        "opt/keelwatt/current/bin/keelwatt",
        "usr/bin/systemctl",
        "usr/bin/python3",
        "bin/sh",
        "bin/rm",
    ):
        program = tmp_path / path
        program.parent.mkdir(parents=True, exist_ok=True)
        program.write_text("#!/bin/sh\n")
        program.chmod(0o755)
    return tmp_path


def verify(tree: Path, unit: str) -> subprocess.CompletedProcess[str]:
    return analyze("verify", "--man=no", "--recursive-errors=no", f"--root={tree}", unit)


@pytest.mark.parametrize("unit", [*UNITS, *OTHERS])
def test_unit_is_well_formed(tree: Path, unit: str):
    done = verify(tree, unit.replace("@", "@one"))
    assert (done.returncode, done.stderr) == (0, "")


def test_verify_would_find_a_misspelt_key(tree: Path):
    path = tree / "etc/systemd/system" / UNITS[0]
    path.write_text(path.read_text().replace("ProtectHostname=", "ProtectHostnam="))
    assert "ProtectHostnam" in verify(tree, UNITS[0]).stderr


@pytest.mark.parametrize("unit", UNITS)
def test_unit_is_exposed_by_at_most_three(repository: Path, unit: str):
    path = repository / "deploy/systemd" / unit
    done = analyze("security", "--offline=true", "--no-pager", "--threshold=30", str(path))
    found = re.search(r"Overall exposure level for .*: ([\d.]+)", done.stdout)
    assert found, done.stderr
    assert float(found[1]) <= 3.0
    assert done.returncode == 0


def test_recording_unit_may_do_what_recording_needs(repository: Path):
    text = (repository / "deploy/systemd" / UNITS[0]).read_text()
    assert "AF_CAN" in text
    assert "DeviceAllow=char-ttyUSB" in text
    assert "\nProcSubset" not in text  # the boot's name is read from /proc/sys
    assert "\nProtectClock" not in text  # it would forbid to ask whether network time is right


def test_pages_start_where_the_kernel_gives_no_list_of_interfaces(monkeypatch: pytest.MonkeyPatch):
    # found on a whole board (tests/board): a unit without netlink ended here with EAFNOSUPPORT
    def refused() -> list[tuple[int, str]]:
        raise OSError(97, "Address family not supported by protocol")

    monkeypatch.setattr(socket, "if_nameindex", refused)
    assert serve.addresses("0.0.0.0", 8765).endswith(".local:8765/")
