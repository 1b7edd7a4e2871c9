"""Runs the access tests with the oldest web framework that pyproject.toml allows.

    python tests/lowest_versions.py

Wants the registry: the oldest versions are put into a folder before the environment's own ones.
What a request may do must not hang on which version judges it.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("fastapi", "uvicorn", "itsdangerous", "python-multipart", "jinja2")
# The oldest that fastapi's own oldest allowed version takes; it is not named in pyproject.toml.
BESIDE = ("starlette==0.37.2",)
TESTS = (
    "tests/analyzer/faces/web/test_access.py",
    "tests/analyzer/faces/web/test_header_middleware.py",
    "tests/analyzer/faces/web/test_front_door.py",
    "tests/analyzer/faces/web/set_up",
)


def lowest() -> list[str]:
    """Each package at the lowest version that pyproject.toml names."""
    text = (ROOT / "pyproject.toml").read_text()
    found = {name: re.search(rf'"{name}>=([0-9.]+)"', text) for name in PACKAGES}
    return [f"{name}=={match[1]}" for name, match in found.items() if match]


def main() -> int:
    """The tests' own status; 2 where the versions cannot be had."""
    wanted = [*lowest(), *BESIDE]
    print("with", ", ".join(wanted), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps"]
        done = subprocess.run([*install, "--target", folder, *wanted], check=False)
        if done.returncode:
            return 2
        there = {**os.environ, "PYTHONPATH": folder}
        return subprocess.run(
            # Old versions call what newer libraries deprecate; that is not what is asked here.
            [sys.executable, "-m", "pytest", "-q", "-W", "default", *TESTS],
            env=there,
            cwd=ROOT,
            check=False,
        ).returncode


if __name__ == "__main__":
    sys.exit(main())
