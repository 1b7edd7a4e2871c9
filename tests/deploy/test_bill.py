"""The bill of a release names every wheel, with its check sum, and is the same each time."""

import hashlib
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


def wheel(folder: Path, name: str, version: str, *lines: str) -> Path:
    """A wheel of nothing but what it says of itself."""
    file = name.replace("-", "_")
    path = folder / f"{file}-{version}-py3-none-any.whl"
    text = "\n".join(("Metadata-Version: 2.4", f"Name: {name}", f"Version: {version}", *lines, ""))
    with zipfile.ZipFile(path, "w") as out:
        out.writestr(zipfile.ZipInfo(f"{file}-{version}.dist-info/METADATA"), text)
    return path


def made(repository: Path, folder: Path) -> str:
    command = [sys.executable, str(repository / "deploy" / "bill.py"), str(folder)]
    subprocess.run(command, check=True, timeout=60)
    return (folder / "bom.cdx.json").read_text()


@pytest.fixture
def wheels(tmp_path: Path) -> list[Path]:
    return [
        wheel(tmp_path, "keelwatt", "1.0", "License-Expression: MIT", "Requires-Dist: A.b-C>=1",
              "Requires-Dist: absent; extra == 'x'"),
        wheel(tmp_path, "a-b-c", "2.1", "License: BSD-3-Clause", "Requires-Dist: d"),
        wheel(tmp_path, "d", "0.1.dev1"),
    ]  # fmt: skip


def test_the_bill_names_each_wheel_and_what_it_wants(repository, tmp_path, wheels):
    told = json.loads(made(repository, tmp_path))
    assert (told["bomFormat"], told["specVersion"], told["version"]) == ("CycloneDX", "1.5", 1)
    own = told["metadata"]["component"]
    assert (own["type"], own["name"], own["licenses"]) == (
        "application",
        "keelwatt",
        [{"expression": "MIT"}],
    )
    parts = [own, *told["components"]]
    sums = {hashlib.sha256(path.read_bytes()).hexdigest() for path in wheels}
    assert {part["hashes"][0]["content"] for part in parts} == sums
    assert [part["purl"] for part in parts] == [
        "pkg:pypi/keelwatt@1.0",
        "pkg:pypi/a-b-c@2.1",
        "pkg:pypi/d@0.1.dev1",
    ]
    assert {d["ref"]: d["dependsOn"] for d in told["dependencies"]} == {
        "pkg:pypi/keelwatt@1.0": ["pkg:pypi/a-b-c@2.1"],
        "pkg:pypi/a-b-c@2.1": ["pkg:pypi/d@0.1.dev1"],
        "pkg:pypi/d@0.1.dev1": [],
    }


def test_the_same_wheels_give_the_same_bill_and_others_another(repository, tmp_path, wheels):
    first = made(repository, tmp_path)
    assert made(repository, tmp_path) == first
    wheel(tmp_path, "d", "0.1.dev1", "License: MIT")
    assert (
        json.loads(made(repository, tmp_path))["serialNumber"] != json.loads(first)["serialNumber"]
    )
