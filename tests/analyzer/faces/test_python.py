"""`import keelwatt`, tried as an installed package in an interpreter of its own."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest


def install(repository: Path, folder: Path) -> Path:
    """A folder of packages as an installation lays them: keelwatt beside logger and the rest."""
    folder.mkdir()
    for name in ("logger", "analyzer", "replay"):
        (folder / name).symlink_to(repository / name)
    (folder / "keelwatt").symlink_to(repository / "analyzer/faces/python")
    return folder


def ran(code: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-P", "-c", code]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)


def python(place: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    code = f"import sys; sys.path[:0] = [{str(place)!r}]; sys.argv[1:] = {list(arguments)!r}\n"
    run = "import runpy; runpy.run_module('keelwatt', run_name='__main__')"
    told = code + (run if arguments else "import keelwatt; keelwatt.trips")
    return ran(told, place.parent)


def test_a_question_is_loaded_only_when_it_is_asked(repository, tmp_path):
    place = install(repository, tmp_path / "site")
    code = (
        f"import sys; sys.path.insert(0, {str(place)!r})\n"
        "import keelwatt as kw\n"
        "assert 'analyzer' not in sys.modules and 'numpy' not in sys.modules\n"
        "assert kw.range_left.__module__.startswith('analyzer.')\n"
        "assert set(kw.__all__) >= {'open_log', 'range_left', 'trips', 'frame'}\n"
        "for name in kw.__all__: getattr(kw, name)\n"
        "print(kw.__version__)"
    )
    done = ran(code)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_the_module_runs_as_the_command_does(repository, tmp_path):
    done = python(install(repository, tmp_path / "site"), "range", "--log", "none.sqlite")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("keelwatt: ")


@pytest.mark.parametrize("name", ["logger", "analyzer", "replay"])
def test_somebody_elses_module_of_the_same_name_is_named(repository, tmp_path, name):
    place = install(repository, tmp_path / "site")
    (place / name).unlink()
    (place / f"{name}.py").write_text("strange = True\n")
    done = python(place, "range")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert str(place / f"{name}.py") in done.stderr
    asked = python(place)
    assert "ImportError" in asked.stderr
    assert str(place / f"{name}.py") in asked.stderr


def test_every_package_is_installed(repository):
    told = tomllib.loads((repository / "pyproject.toml").read_text())["tool"]["setuptools"]
    there = {
        ".".join(path.parent.relative_to(repository).parts)
        for root in ("logger", "analyzer", "replay")
        for path in (repository / root).rglob("__init__.py")
    }
    assert set(told["packages"]) == (there - {"analyzer.faces.python"}) | {"keelwatt"}


def test_the_command_can_be_called_with_arguments_from_python(repository, tmp_path):
    """As other programs call an entry point; `sys.argv` is theirs."""
    place = install(repository, tmp_path / "site")
    code = (
        f"import sys; sys.path.insert(0, {str(place)!r})\n"
        "from keelwatt.__main__ import main\n"
        "sys.exit(main(['range', '--log', 'none.sqlite']))"
    )
    done = ran(code)
    assert done.returncode == 2
    assert "no log at none.sqlite" in done.stderr
