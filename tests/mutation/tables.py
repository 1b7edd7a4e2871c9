"""Which modules are mutated, and which tests are theirs."""

import re
from pathlib import Path

# package -> (folder of its modules, or its only one, and folder of its tests)
MUTATED = {
    "store": ("logger/store", "tests/logger/store"),
    "quantum": ("logger/quantum.py", "tests/logger/store/packing"),
    "pack": ("analyzer/pack", "tests/analyzer/pack"),
    "thermal": ("analyzer/thermal", "tests/analyzer/thermal"),
    "range": ("analyzer/range", "tests/analyzer/range"),
    "cells": ("analyzer/cells", "tests/analyzer/cells"),
    "trips": ("analyzer/trips", "tests/analyzer/trips"),
}
PACKAGES = MUTATED | {
    "hull": ("analyzer/hull", "tests/analyzer/hull"),
    "series": ("analyzer/series", "tests/analyzer/series"),
    "environment": ("analyzer/environment", "tests/analyzer/environment"),
    "grounds": ("analyzer/grounds", "tests/analyzer/grounds"),
    "learned": ("analyzer/learned", "tests/analyzer/learned"),
    "flags": ("analyzer/flags", "tests/analyzer/flags"),
}


def modules(root: Path, package: str) -> list[str]:
    """Paths of a package's modules below the root, but the one that only gathers names."""
    place = root / PACKAGES[package][0]
    files = [place] if place.suffix else sorted(place.rglob("[!_]*.py"))
    return [f.relative_to(root).as_posix() for f in files]


def own_tests(root: Path, module: str) -> list[str]:
    """The tests of a module: files of its package's tests that import it, else all of them."""
    folder, name = module.removesuffix(".py").rsplit("/", 1)
    place = next(tests for code, tests in PACKAGES.values() if f"{module}/".startswith(f"{code}/"))
    dotted = folder.replace("/", ".")
    named = rf"{dotted}\.{name}\b|from {dotted} import ([^\n(]*|\([^)]*)\b{name}\b"
    files = sorted((root / place).rglob("test_*.py"))
    mine = [f for f in files if re.search(named, f.read_text())]
    return [f.relative_to(root).as_posix() for f in mine or files]
