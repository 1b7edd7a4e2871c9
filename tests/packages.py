"""Builds the sdist and, from it, the wheel, and tries the wheel from an empty folder.

    python tests/packages.py

Wants the registry for the tool that builds. Part of `deploy/test.sh`: what the tests run is the
folder that they lie in, and a file or package that is left out of the wheel would be missed there.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
OURS = ("logger", "analyzer", "replay")
BESIDE = ("pyproject.toml", "README.md", "LICENSE")
PAPERS = (".md", ".pyc")  # for who has the project, not for who has the program


def main() -> int:
    """0 where both packages hold all that runs; else a sentence says what is missing."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        copy = copied(place / "project")
        wheel = built(copy, place / "out")
        missing = files_of(copy) - names_in(wheel)
        if missing:
            print(f"{wheel.name} lacks {', '.join(sorted(missing))}", file=sys.stderr)
            return 1
        return tried(wheel, place)


def copied(to: Path) -> Path:
    """What a package is made of, without anything that an earlier build left."""
    leave = shutil.ignore_patterns("__pycache__", "*.egg-info", "*.pyc")
    for name in OURS:
        shutil.copytree(ROOT / name, to / name, ignore=leave)
    for name in BESIDE:
        shutil.copy(ROOT / name, to / name)
    return to


def built(project: Path, out: Path) -> Path:
    """The wheel, made of the sdist that is made of the project."""
    asked = [sys.executable, "-m", "build", "--outdir", str(out), str(project)]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(
            f"the packages cannot be built: {done.stdout[-2000:]}{done.stderr[-2000:]}"
        )
    (sdist,), (wheel,) = out.glob("*.tar.gz"), out.glob("*.whl")
    print(f"{sdist.name}: {sdist.stat().st_size >> 10} kB; {wheel.name}: "
          f"{wheel.stat().st_size >> 10} kB")  # fmt: skip
    return wheel


def files_of(project: Path) -> set[str]:
    """Every file that may be wanted at run time, by its name in the wheel."""
    found = set()
    for part in OURS:
        for path in (project / part).rglob("*"):
            name = path.relative_to(project).as_posix()
            if path.is_file() and path.suffix not in PAPERS and "/examples/" not in name:
                found.add(name.replace("analyzer/faces/python/", "keelwatt/"))
    return found


def names_in(wheel: Path) -> set[str]:
    """Files of a wheel."""
    with zipfile.ZipFile(wheel) as packed:
        return set(packed.namelist())


def tried(wheel: Path, place: Path) -> int:
    """Runs what is in the wheel, in a folder with nothing in it and a home that is new."""
    site, empty = place / "site", place / "empty"
    empty.mkdir()
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(site)
    place_of = {"HOME": str(place / "home"), "PYTHONPATH": str(site), "PATH": os.environ["PATH"]}

    def keelwatt(*words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "keelwatt", *words],
            cwd=empty, env=place_of, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            raise SystemExit(f"keelwatt {' '.join(words)}: {done.returncode}, {done.stderr}")
        return done.stdout

    where = "import analyzer, logger, replay; print(analyzer.__file__)"
    ran = [sys.executable, "-P", "-c", where]
    found = subprocess.run(ran, cwd=empty, env=place_of, capture_output=True, text=True, check=True)
    if not found.stdout.startswith(str(site)):
        raise SystemExit(f"not the wheel's own modules are run: {found.stdout}")
    keelwatt("demo", "--quiet")
    far = json.loads(keelwatt("range", "--json", "-q"))["distance"]["mid"]
    json.loads(keelwatt("schema"))
    keelwatt("review", "-q", "--report", "trip.html")
    keelwatt("manual")
    print(f"from an empty folder: demo, range ({far / 1852:.1f} nmi), review with its report")
    return 0


if __name__ == "__main__":
    sys.exit(main())
