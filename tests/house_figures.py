"""Figures of how readable the tree is that this script stands in: `python tests/house_figures.py`.

Python outside `tests/` is counted unless said otherwise. What is counted as what:

- body: lines from a function's first statement after its docstring to its end, blank lines and
  comments included; arguments: all kinds, without self and cls.
- code line: one that holds a token other than a comment or a docstring. Tokens: names, numbers,
  strings and operators. A module of fewer than 40 code lines is not ranked by density.
- constant: an UPPER_CASE name at module level whose value is made of numbers alone (operators,
  tuples, lists and dicts of them, and a quantile of the normal distribution included), not a
  version or an exit status. Its origin is told if a comment on its lines, or in the comment block
  right above it or right above the run of assignments it stands in, or the module's docstring by
  its name, says a word of ORIGIN
  in `house_counts.py`.
- motor power, motoring: functions, methods and classes whose names match OPERATING there, and
  names that match it and are given the outcome of a comparison.
- lines: of text files that git tracks, without `tests/`, recordings and pictures.
- duplicates: maximal runs of at least six equal lines in two places, whitespace normalised, without
  blank lines, comments, docstrings and imports; a line of brackets alone does not count as a line.
  Alike in shape: the same with names, numbers and strings left out, lines under 3 tokens too.
"""

import re
import sys
from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests import house_counts as house
from tests.house_counts import Module

RUN = 6  # lines
DISTINCT = 4  # lines that a run must have different, else it is a list or a table
COMMON = 8  # a run that stands in more places is a form of speech
LEAST_RANKED = 40  # code lines
SHOWN = 8  # rows of a list


def duplicate_runs(modules: list[Module], *, shape: bool = False) -> list[tuple[int, str, str]]:
    """Length and both places of every maximal run of equal lines."""
    lines: list[tuple[str, str]] = []  # text or a unique end of file, place
    for module in modules:
        skipped = module.docstrings | module.imports
        for number, raw in enumerate(module.text.splitlines(), 1):
            text = " ".join(raw.partition("  #")[0].split())
            text = module.shapes.get(number, "") if shape else text
            thin = shape and text.count(" ") < 3
            if number in module.code - skipped and re.search(r"\w", text) and not thin:
                lines.append((text, f"{module.name}:{number}"))
        lines.append((f"end of {module.name}", ""))
    texts = [text for text, _ in lines]
    starts: dict[int, list[int]] = defaultdict(list)
    for k in range(len(texts) - RUN + 1):
        starts[hash(tuple(texts[k : k + RUN]))].append(k)
    runs = []
    for many in starts.values():
        if len(many) > COMMON or len(set(texts[many[0] : many[0] + RUN])) < DISTINCT:
            continue
        for place, i in enumerate(many):
            for j in many[place + 1 :]:
                length = _run_length(texts, i, j)
                if length >= RUN and (i == 0 or texts[i - 1] != texts[j - 1]):
                    runs.append((length, lines[i][1], lines[j][1]))
    return sorted(runs, reverse=True)


def _run_length(texts: list[str], i: int, j: int) -> int:
    length = 0
    while i + length < j and j + length < len(texts) and texts[i + length] == texts[j + length]:
        length += 1
    return length


def print_packages(modules: Sequence[Module]) -> None:
    """Modules in one folder, and comments by package and subject."""
    folders = Counter(str(m.path.parent.relative_to(house.ROOT)) for m in modules)
    print(f"modules flat in one package, largest: {max(folders.values())}")
    for name, many in folders.most_common():
        print(f"  {many:4} {name}")
    groups: dict[str, list[Module]] = defaultdict(list)
    for module in modules:
        groups[str(module.path.parent.relative_to(house.ROOT))].append(module)
        subject = house.subject_of(module)
        if subject:
            groups[f"= subject {subject}"].append(module)
    print("per 100 code lines: comment lines + docstring lines (of code lines)")
    for name, members in sorted(groups.items()):
        code = sum(len(m.code) for m in members)
        if code:
            comments = 100 * sum(len(m.comments) for m in members) / code
            docstrings = 100 * sum(len(m.docstrings) for m in members) / code
            print(f"  {comments:5.1f} + {docstrings:5.1f}  ({code:5}) {name}")


def print_functions(modules: Sequence[Module]) -> None:
    """Longest bodies, most arguments, densest modules."""
    functions = [(m, f) for m in modules for f in m.functions()]
    for title, measure in (
        ("longest function body, lines", house.body_lines),
        ("most arguments", house.argument_count),
    ):
        ranked = sorted(((measure(f), f"{m.name}:{f.lineno} {f.name}") for m, f in functions))
        _print_ranked(title, [(f"{size}", place) for size, place in reversed(ranked)])
    dense = [(m.tokens / len(m.code), m.name) for m in modules if len(m.code) >= LEAST_RANKED]
    rows = [(f"{density:.1f}", name) for density, name in sorted(dense, reverse=True)]
    _print_ranked("tokens a code line, densest module", rows)


def _print_ranked(title: str, rows: Sequence[tuple[str, str]]) -> None:
    print(f"{title}: {rows[0][0]}")
    for size, place in rows[:SHOWN]:
        print(f"  {size:>5} {place}")


def print_constants(modules: Sequence[Module]) -> None:
    """With and without an origin, by package; the names without."""
    for title, start in (("analyzer below faces", "analyzer/"), ("everything", "")):
        chosen = [m for m in modules if m.name.startswith(start)]
        if start:
            chosen = [m for m in chosen if not m.name.startswith("analyzer/faces/")]
        found = [(m.name, name, told) for m in chosen for name, told in house.constants(m)]
        told = sum(t for _, _, t in found)
        print(f"numeric constants, {title}: {len(found)}, with an origin {told}")
    by_module: dict[str, list[str]] = defaultdict(list)
    for module, name, is_told in found:
        if not is_told:
            by_module[module].append(name)
    print("without an origin:")
    for module, names in sorted(by_module.items()):
        print(f"  {module}: {', '.join(names)}")


def print_lines(paths: Sequence[Path]) -> None:
    """Lines of text files by top folder."""
    lines: Counter[str] = Counter()
    for path in paths:
        if house.is_text(path):
            name = path.relative_to(house.ROOT)
            top = name.parts[0] if len(name.parts) > 1 else "."
            lines[top] += len(path.read_text("utf-8").splitlines())
    print(f"lines outside tests: {sum(lines.values())}")
    python = sum(len(p.read_text("utf-8").splitlines()) for p in paths if p.suffix == ".py")
    for top, many in [*lines.most_common(), ("of these Python", python)]:
        print(f"  {many:6} {top}")


def print_alike(modules: Sequence[Module]) -> None:
    """Pairs of files that share a run of the same shape, tests included."""
    pairs: dict[tuple[str, ...], tuple[int, str, str]] = {}
    for run in duplicate_runs(list(modules), shape=True):
        files = sorted(place.partition(":")[0] for place in run[1:])
        pairs.setdefault(tuple(files), run)
    print(f"pairs of files with runs alike in shape, tests included: {len(pairs)}")
    for length, one, other in list(pairs.values())[:SHOWN]:
        print(f"  {length:4} {one} ~ {other}")


def main() -> None:
    """Prints all figures."""
    everything = house.tracked()
    paths = [path for path in everything if not house.is_test(path)]
    parsed = [Module(p, p.read_text("utf-8")) for p in everything if p.suffix == ".py"]
    modules = [module for module in parsed if not house.is_test(module.path)]
    print_packages(modules)
    print_functions(modules)
    defined = [row for m in modules for row in house.operating_definitions(m)]
    print("\n  ".join([f"definitions of motor power and motoring: {len(defined)}", *defined]))
    print_lines(paths)
    runs = duplicate_runs(modules)
    print(f"pairs of equal runs of {RUN} lines and more: {len(runs)}")
    for length, one, other in runs:
        print(f"  {length:4} {one} = {other}")
    print_alike(parsed)
    print_constants(modules)


if __name__ == "__main__":
    main()
