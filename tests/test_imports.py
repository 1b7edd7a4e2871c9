"""The lines that imports may not cross (DEVELOPERS.md, "How it hangs together")."""

import ast
import importlib.util
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent.parent
PACKAGES = ("logger", "analyzer", "replay")
HEAVY = {"pandas", "scipy", "bokeh", "fastapi", "uvicorn", "jinja2", "starlette"}
# What the models and answers may take from the logger.
SHARED = {
    "logger.account",
    "logger.computer",  # how the board fares is one more answer
    "logger.store",
    "logger.boat",
    "logger.channels",
    "logger.device_states",
    "logger.units",
    "logger.errors",
    "logger.standstill",
}

# The layers of the analyzer, lowest first: each imports only from itself and from those before it.
LAYERS = (
    "estimation",
    "series",
    "pack",
    "environment",
    "hull",
    "grounds",  # with the wiring's tests: contradictions are found before anything rests on them
    "cells",
    "thermal",
    "trips",
    "learned",  # after trips: what is kept between runs is kept trip by trip
    "range",
    "check",
    "flags",
    "exchange",  # before answers: a log's readings to take away are one more question to it
    "answers",
    "fleet",
    "examples",
    "faces",
)
# The faces' door to the analyzer, and what they share with the logger.
DOOR = {"analyzer.answers", "analyzer.estimation", "analyzer.errors", "analyzer.faces"}
UNITS = {
    "logger.units",
    "logger.errors",  # refusals that a face says in its own way
    "logger.boat",  # the boat file is a form on the set-up page, and an option of `fleet`
}
# The command line also starts programs that are no question to a log.
STARTS = {
    "record.py": {"logger.daemon", "logger.salvage"},
    "check.py": {"logger.discover", "replay"},  # the ports of this computer, and recordings
    "serve.py": {"logger.discover"},  # the same, for the set-up page
    "play.py": {"replay"},
    "playback.py": {"replay", "logger.account"},
    "fleet.py": {"analyzer.fleet"},  # a layer above the answers; text/fleet.py too
    "progress.py": {"analyzer.fleet"},
}


def imported(path: Path) -> set[str]:
    """Every module a file imports, anywhere in it; `from a import b` counts as "a.b"."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written in full"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def imported_roots(path: Path) -> set[str]:
    """The packages a file imports from: "logger", "numpy"."""
    return {name.partition(".")[0] for name in imported(path)}


def files(*parts: str) -> list[Path]:
    return sorted(HERE.joinpath(*parts).rglob("*.py"))


def below_faces() -> Iterator[Path]:
    for path in files("analyzer"):
        if "faces" not in path.relative_to(HERE).parts:
            yield path


def test_imported_sees_every_form(tmp_path: Path):
    path = tmp_path / "x.py"
    path.write_text(
        "import a.b as c\nfrom logger import units\nfrom d.e import f\n"
        "def g():\n    import pandas\n"
    )
    assert imported(path) == {"a.b", "logger.units", "d.e.f", "pandas"}
    assert imported_roots(path) == {"a", "logger", "d", "pandas"}


def test_logger_imports_nothing_that_thinks_or_weighs():
    for path in files("logger"):
        crossed = imported_roots(path) & (HEAVY | {"analyzer", "replay"})
        assert not crossed, f"{path} imports {crossed}"


def test_replay_never_imports_analyzer():
    for path in files("replay"):
        crossed = imported_roots(path) & {"analyzer"}
        assert not crossed, f"{path}: the demo boat's physics shares no code with the analyzer"


def test_analyzer_below_its_faces_imports_no_face():
    for path in below_faces():
        names = imported(path)
        assert not {n for n in names if n.startswith("analyzer.faces")}, path
        crossed = imported_roots(path) & {"fastapi", "uvicorn", "jinja2", "starlette", "replay"}
        assert not crossed, f"{path} imports {crossed}"


def test_analyzer_takes_only_the_shared_part_of_logger():
    for path in below_faces():
        for name in imported(path):
            if name.startswith("logger"):
                assert any(name == s or name.startswith(f"{s}.") for s in SHARED), f"{path}: {name}"


def modules() -> dict[str, Path]:
    """Every module of the three packages by its name."""
    found = {}
    for part in PACKAGES:
        for path in files(part):
            name = ".".join(path.relative_to(HERE).with_suffix("").parts)
            found[name.removesuffix(".__init__")] = path
    return found


def within(name: str, allowed: set[str]) -> bool:
    """Whether a dotted name is one of those, or lies in one of them."""
    return any(name == one or name.startswith(f"{one}.") for one in allowed)


@pytest.mark.parametrize("layer", LAYERS)
def test_layers_import_only_downwards(layer: str):
    lower = {f"analyzer.{name}" for name in LAYERS[: LAYERS.index(layer) + 1]}
    for path in files("analyzer", layer):
        for name in imported(path):
            if name.startswith("analyzer."):
                assert within(name, lower | {"analyzer.errors"}), f"{path}: {name}"


def test_every_room_has_its_layer():
    rooms = {path.parent.name for path in (HERE / "analyzer").glob("*/__init__.py")}
    assert rooms == set(LAYERS)


def test_faces_have_one_door():
    for path in files("analyzer", "faces"):
        starts = STARTS.get(path.name, set()) if "cli" in path.parts else set()
        for name in imported(path):
            if name.partition(".")[0] in PACKAGES:
                assert within(name, DOOR | UNITS | starts), f"{path}: {name}"


def test_no_imports_go_round_in_a_circle():
    """Imports inside functions count too: none is put off only to break a circle."""
    there = modules()
    graph = {
        name: {within_module for n in imported(path) if (within_module := owner(n, there)) != name}
        for name, path in there.items()
    }
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def owner(name: str, there: dict[str, Path]) -> str:
    """The module that an imported name is, or lies in; "" where it is of another package."""
    if name in there:
        return name
    parent = name.rpartition(".")[0]
    return parent if parent in there else ""


def test_no_file_knows_the_machine_it_was_written_on():
    machine = re.compile(r"/(?:home|root|Users|work)/|[A-Z]:\\")
    kept = [p for part in (*PACKAGES, "deploy", "tests", ".ci") for p in (HERE / part).rglob("*")]
    kept += [HERE / "README.md", HERE / "DEVELOPERS.md", HERE / "pyproject.toml"]
    for path in kept:
        if path.suffix in {".pyc", ".gz", ".zst", ".png", ".woff2"} or not path.is_file():
            continue
        if path == Path(__file__).resolve():
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        assert not machine.search(text), f"{path}: {machine.search(text)}"


def loaded_by(module: str) -> set[str]:
    """What one import has loaded in a fresh interpreter, as packages and modules."""
    code = f"import sys, {module}; print(' '.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=HERE, capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


@pytest.mark.parametrize("module", ["logger.daemon.recorder", "logger.store", "logger.boat"])
def test_the_daemon_loads_neither_pandas_nor_scipy(module: str):
    assert not loaded_by(module) & (HEAVY | {"analyzer"})


@pytest.mark.parametrize("module", ["analyzer.answers", "analyzer.faces.cli.main"])
def test_the_short_answers_load_nothing_heavy(module: str):
    assert importlib.util.find_spec(module), module
    assert not loaded_by(module) & (HEAVY | {"sqlalchemy.orm"})
