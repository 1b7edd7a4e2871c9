"""The mutation run on a module made for it."""

import ast

import pytest

from tests.mutation import __main__ as command
from tests.mutation import tables
from tests.mutation.mutants import Mutant, mutants

TOY = '''"""A toy."""


def kept(a: int = 3, b=True):
    """More than three, and not without b; 'é' takes two bytes."""
    return (a + 1) * 2.0 > 4 and not b or min(a, b)
'''
CHANGED = {
    "a: int = 4", "b=False", "(a + 2)", "(a - 1) *", "/ 2.0", "* (-2.0)", "* 2.2", "<= 4", "> 5",
    "and (b)", "2.0 > 4 or not b)", "and min(a, b))", "min(b, a)",
}  # fmt: skip


def test_every_kind_of_change_is_made_once_and_parses():
    found = mutants("toy.py", TOY)
    for text in CHANGED:
        assert sum(text in m.mutated for m in found) >= 1, text
    assert len(found) == len({m.source for m in found})
    for m in found:
        assert ast.dump(ast.parse(m.source)) != ast.dump(ast.parse(TOY))
        assert m.source.count("'é' takes two bytes") == 1


def test_annotations_and_texts_stay():
    assert not mutants("toy.py", 'x: "list[1 + 2]"\ny = f"{1 + 2} and"\n')


@pytest.fixture
def tree(tmp_path, monkeypatch):
    """A tree of one package with one module and its test."""
    monkeypatch.setattr(tables, "PACKAGES", {"toy": ("toy", "tests/toy")})
    (tmp_path / "toy").mkdir()
    (tmp_path / "tests" / "toy").mkdir(parents=True)
    (tmp_path / "toy" / "__init__.py").touch()
    (tmp_path / "toy" / "level.py").write_text("def rises(a, b):\n    return b - a > 0\n")
    test = "from toy.level import rises\n\n\ndef test_it():\n    assert rises(1, 3)\n"
    (tmp_path / "tests" / "toy" / "test_level.py").write_text(test + "    assert not rises(3, 1)\n")
    (tmp_path / "tests" / "toy" / "test_other.py").write_text("def test_it():\n    pass\n")
    return tmp_path


def test_a_mutant_is_noticed_and_the_module_is_whole_again(tree):
    before = (tree / "toy/level.py").read_text()
    every = {m.mutated: m for m in mutants("toy/level.py", before)}
    assert set(every) == {"return b + a > 0", "return b - a <= 0", "return b - a > 1"}
    assert command.noticed(tree, every["return b - a <= 0"])
    assert not command.noticed(tree, every["return b - a > 1"])  # 1 and 3 are two apart
    assert (tree / "toy/level.py").read_text() == before


def test_tests_of_a_module_are_those_that_import_it(tree):
    assert tables.modules(tree, "toy") == ["toy/level.py"]
    assert tables.own_tests(tree, "toy/level.py") == ["tests/toy/test_level.py"]
    (tree / "tests/toy/test_level.py").write_text("from toy import (\n    other,\n    level,\n)\n")
    assert tables.own_tests(tree, "toy/level.py") == ["tests/toy/test_level.py"]
    assert len(tables.own_tests(tree, "toy/unheard.py")) == 2  # none of its own: all


def test_a_room_within_a_package_belongs_to_it(tree):
    (tree / "toy/inner").mkdir()
    (tree / "toy/inner/deep.py").write_text("X = 1\n")
    assert tables.modules(tree, "toy") == ["toy/inner/deep.py", "toy/level.py"]
    (tree / "tests/toy/test_other.py").write_text("from toy.inner.deep import X\n")
    assert tables.own_tests(tree, "toy/inner/deep.py") == ["tests/toy/test_other.py"]


def test_every_listed_bug_lies_in_a_package():
    folders = tuple(f"{code}/" for code, _ in tables.PACKAGES.values())
    assert [file for file, *_ in command.DELIBERATE if not f"{file}/".startswith(folders)] == []


def test_every_listed_bug_has_its_place_once():
    """Code that moves takes its bug along."""
    root = command.ROOT
    lost = [
        (file, right)
        for file, right, _ in command.DELIBERATE
        if not (root / file).is_file() or (root / file).read_text("utf-8").count(right) != 1
    ]
    assert lost == []


def test_a_mutant_that_never_ends_is_noticed(tree, monkeypatch):
    monkeypatch.setattr(command, "LEAST_S", 3.0)
    monkeypatch.setattr(command, "TIMES", 0.0)
    endless = "def rises(a, b):\n    while True:\n        pass\n"
    assert command.noticed(tree, Mutant("toy/level.py", 1, "", "", endless))


def test_an_equivalent_is_known_by_its_lines_wherever_they_are():
    known = command.equivalents("# why\n\na.py  x < 1 -> x <= 1 = x is never 1 = said twice\n")
    assert Mutant("a.py", 7, "x < 1", "x <= 1", "").key not in known
    known = command.equivalents("# why\n\na.py  x < 1 -> x <= 1 = x is never 1\n")
    assert Mutant("a.py", 7, "x < 1", "x <= 1", "").key in known


def test_the_same_seed_takes_the_same_mutants(tree):
    one, same = (command.sampled(tree, "toy", 2, 5) for _ in range(2))
    assert one == same
    assert len(one) == 2
    assert len(command.sampled(tree, "toy", 99, 5)) == 3


def test_an_unknown_package_is_one_sentence(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["mutation", "sails"])
    with pytest.raises(SystemExit) as ended:
        command.main()
    assert ended.value.code == 2
    assert "no package sails" in capsys.readouterr().err
