"""The command `python -m tests.mutation [PACKAGE...]`; `--help` tells the rest."""

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from functools import cache
from pathlib import Path

from tests.mutation.deliberate import DELIBERATE
from tests.mutation.mutants import Mutant, mutants
from tests.mutation.tables import MUTATED, PACKAGES, modules, own_tests

ROOT = Path(__file__).resolve().parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
LEAST_S, TIMES = 20.0, 5.0  # a mutant's tests may take so long, or so many times what is usual
LEFT_OUT = (".git", ".venv", "__pycache__", ".*_cache", "node_modules", "pictures")


def passes(tree: Path, tests: list[str], limit_s: float) -> bool:
    """Whether tests pass in time."""
    command = [sys.executable, "-B", "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    quiet = subprocess.DEVNULL
    plain = os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}  # none of the tests wants a plugin
    # A session of its own, so that what the tests have started ends with them, whatever happens.
    with subprocess.Popen(
        command, cwd=tree, env=plain, stdout=quiet, stderr=quiet, start_new_session=True
    ) as running:
        try:
            return not running.wait(limit_s)
        except subprocess.TimeoutExpired:
            return False
        finally:
            with suppress(ProcessLookupError):
                os.killpg(running.pid, signal.SIGKILL)


@cache
def usual_s(tree: Path, tests: tuple[str, ...]) -> float:
    """Seconds that tests take with nothing changed."""
    began = time.monotonic()
    if not tests or not passes(tree, list(tests), 900.0):
        fail(f"{' '.join(tests) or 'no tests'}: must pass before anything is changed")
    return time.monotonic() - began


def noticed(tree: Path, mutant: Mutant) -> bool:
    """Whether the module's own tests fail, or never end, with the mutant in place."""
    tests, path = own_tests(tree, mutant.file), tree / mutant.file
    limit_s = max(LEAST_S, TIMES * usual_s(tree, tuple(tests)))
    kept = path.read_text()
    path.write_text(mutant.source)
    try:
        return not passes(tree, tests, limit_s)
    finally:
        path.write_text(kept)


def equivalents(text: str) -> set[str]:
    """Keys of mutants that nothing can notice; a reason follows each after " = "."""
    return {line.rsplit(" = ", 1)[0] for line in text.splitlines() if line[:1] not in ("#", "")}


def sampled(root: Path, package: str, count: int, seed: int) -> list[Mutant]:
    """So many mutants of each module of a package."""
    chosen = []
    for file in modules(root, package):
        every = mutants(file, (root / file).read_text())
        chosen += random.Random(f"{seed} {file}").sample(every, min(count, len(every)))
    return chosen


def deliberate(root: Path, package: str) -> list[Mutant]:
    """The written list's bugs in a package."""
    found = []
    for file, old, new in DELIBERATE:
        if not file.startswith(f"{PACKAGES[package][0]}/"):
            continue
        text = (root / file).read_text() if (root / file).is_file() else ""
        if text.count(old) != 1:
            fail(f"deliberate.py: {file} holds this {text.count(old)} times, not once: {old}")
        line = text[: text.index(old)].count("\n") + 1
        found.append(Mutant(file, line, old, new, text.replace(old, new)))
    return found


def fail(sentence: str) -> None:
    """Ends the run."""
    print(sentence, file=sys.stderr)
    sys.exit(2)


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("package", nargs="*", help=f"of {', '.join(PACKAGES)}; six if none")
    parser.add_argument("--count", type=int, default=10, help="mutants of each module")
    parser.add_argument("--seed", type=int, default=1, help="which of them")
    parser.add_argument("--deliberate", action="store_true", help="those of deliberate.py instead")
    asked = parser.parse_args()
    if unknown := set(asked.package) - set(PACKAGES):
        parser.error(f"no package {', '.join(sorted(unknown))}; there are {', '.join(PACKAGES)}")
    known, all_found, total = equivalents(EQUIVALENT.read_text()), 0, 0
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(*LEFT_OUT))
        for name in asked.package or (PACKAGES if asked.deliberate else MUTATED):
            listed = asked.deliberate
            every = (
                deliberate(tree, name) if listed else sampled(tree, name, asked.count, asked.seed)
            )
            chosen, found = [m for m in every if m.key not in known], 0
            for mutant in chosen:
                seen = noticed(tree, mutant)
                found += seen
                if not seen:
                    print(mutant, flush=True)
            print(f"{name}: {found} of {len(chosen)} noticed", flush=True)
            all_found, total = all_found + found, total + len(chosen)
    print(f"{all_found} of {total} noticed, {100 * all_found / max(total, 1):.0f} %")


if __name__ == "__main__":
    main()
