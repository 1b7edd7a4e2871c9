"""The package changed in one place, as a later release or a bad one would be."""

import hashlib
import re
import shutil
import subprocess
import zipfile
from pathlib import Path


def variant(package: Path, version: str, changes: dict[str, str], *, listed: bool = True) -> Path:
    """The package of another version, with files of keelwatt's own wheel in other words.

    Args:
        package: What it is made from.
        version: Of the new one.
        changes: Text by the file's name in the wheel.
        listed: Whether the list of check sums follows the change.
    """
    tree = package.parent / f"tree-{version}"
    shutil.rmtree(tree, ignore_errors=True)
    subprocess.run(["dpkg-deb", "-R", str(package), str(tree)], check=True)
    for wheel in tree.glob("usr/lib/keelwatt/wheels/*/keelwatt-*.whl"):
        _rewrite(wheel, changes)
        if listed:
            sums = wheel.parent / "SHA256SUMS"
            digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
            sums.write_text(
                re.sub(rf"(?m)^\w+(?=  {re.escape(wheel.name)}$)", digest, sums.read_text())
            )
    control = tree / "DEBIAN/control"
    control.write_text(re.sub(r"(?m)^Version: .*$", f"Version: {version}", control.read_text()))
    made = package.with_name(f"keelwatt_{version}.deb")
    subprocess.run(["dpkg-deb", "-Znone", "-b", str(tree), str(made)], check=True)
    shutil.rmtree(tree)
    return made


def _rewrite(wheel: Path, changes: dict[str, str]) -> None:
    part = wheel.with_suffix(".part")
    with zipfile.ZipFile(wheel) as old, zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in changes:
                new.writestr(name, old.read(name))
        for name, text in changes.items():
            new.writestr(name, text)
    wheel.unlink()  # not written over: it may be one file with two names
    part.rename(wheel)
