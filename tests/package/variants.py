"""The package changed in one place, as a later release or a bad one would be."""

import hashlib
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

KEY = "release.key"  # beside the package: what it is signed with


def key_of(work: Path) -> Path:
    """The private key that packages and releases here are signed with; made once."""
    key = work / KEY
    if not key.exists():
        command = ["openssl", "genpkey", "-algorithm", "ed25519", "-out", str(key)]
        subprocess.run(command, check=True, capture_output=True)
    return key


def variant(package: Path, version: str, changes: dict[str, str], *, listed: bool = True) -> Path:
    """The package of another version, with files of keelwatt's own wheel in other words.

    Args:
        package: What it is made from.
        version: Of the new one.
        changes: Text by the file's name in the wheel.
        listed: Whether the list of check sums, and its signature, follows the change.
    """
    tree = _changed(package, version, changes, listed=listed)
    control = tree / "DEBIAN/control"
    control.write_text(re.sub(r"(?m)^Version: .*$", f"Version: {version}", control.read_text()))
    made = package.with_name(f"keelwatt_{version}.deb")
    subprocess.run(["dpkg-deb", "-Znone", "-b", str(tree), str(made)], check=True)
    shutil.rmtree(tree)
    return made


def release(package: Path, version: str, changes: dict[str, str]) -> Path:
    """The same as one release file, as deploy/release.sh makes it."""
    tree = _changed(package, version, changes, listed=True)
    share = tree / "usr/lib/keelwatt"
    made = package.with_name(f"keelwatt-{version}.release")
    command = [sys.executable, str(share / "deploy/release_file.py"), "make", str(share), str(made)]
    words = [version, "1", os.uname().machine, str(key_of(package.parent.parent))]
    subprocess.run([*command, *words], check=True)
    shutil.rmtree(tree)
    return made


def _changed(package: Path, version: str, changes: dict[str, str], *, listed: bool) -> Path:
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
            _sign(sums, key_of(package.parent.parent))
    return tree


def _sign(sums: Path, key: Path) -> None:
    command = ["openssl", "pkeyutl", "-sign", "-inkey", str(key), "-rawin", "-in", str(sums)]
    subprocess.run([*command, "-out", f"{sums}.sig"], check=True)


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
