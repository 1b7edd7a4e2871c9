"""A disk of a few megabytes, so that one can be filled."""

import contextlib
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest


@contextlib.contextmanager
def mounted(folder: Path, megabytes: int, *, lazily: bool = False) -> Iterator[Path]:
    """A new folder that is a disk of its own; the test is skipped where none can be mounted.

    Args:
        lazily: A file of it may still be open at the end; else that is an error.
    """
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "tmpfs", str(folder)]
    if not shutil.which("mount") or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("a small disk cannot be mounted here")
    try:
        yield folder
    finally:
        how = ["-l"] if lazily else []
        subprocess.run(["umount", *how, str(folder)], check=True)
