"""What differs between two sets of answers; see `answers_snapshot.py`."""

import json
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

IGNORED = {"check": {"devices"}}  # by question: ports and buses of this computer, not of the log
TINY = 1e-15  # assumed: a smaller difference is none, whatever it is relative to
FIGURE = re.compile(r"\d+(?:\.\d+)?")


@dataclass
class Differences:
    """What differs between two sets; lines to print and counts by question."""

    rel: float
    texts: bool
    lines: list[str] = field(default_factory=list)
    compared: Counter[str] = field(default_factory=Counter)
    numbers: Counter[str] = field(default_factory=Counter)
    shapes: Counter[str] = field(default_factory=Counter)
    words: Counter[str] = field(default_factory=Counter)
    figures: Counter[str] = field(default_factory=Counter)  # texts with other figures in them
    largest: dict[str, float] = field(default_factory=dict)

    def compare(self, question: str, where: str, old: Any, new: Any) -> None:
        """Walks two answers side by side."""
        if isinstance(old, dict) and isinstance(new, dict):
            for key in sorted((old.keys() | new.keys()) - IGNORED.get(question, set())):
                self._both(question, f"{where}.{key}", old, new, key)
        elif isinstance(old, list) and isinstance(new, list):
            for k in range(max(len(old), len(new))):
                self._both(question, f"{where}[{k}]", dict(enumerate(old)), dict(enumerate(new)), k)
        elif _is_number(old) and _is_number(new):
            self._number(question, where, float(old), float(new))
        elif isinstance(old, str) and isinstance(new, str):
            if old != new:
                self._text(question, where, old, new)
        elif old is not new:
            self._shape(question, f"{where}: {_short(old)} -> {_short(new)}")

    def _both(self, question: str, where: str, old: Any, new: Any, key: Any) -> None:
        if key in old and key in new:
            self.compare(question, where, old[key], new[key])
        else:
            told, value = ("old", old[key]) if key in old else ("new", new[key])
            self._shape(question, f"{where}: only in the {told} set: {_short(value)}")

    def _number(self, question: str, where: str, old: float, new: float) -> None:
        self.compared[question] += 1
        off = abs(new - old)
        relative = off / max(abs(old), abs(new)) if off else 0.0
        if off <= TINY or relative <= self.rel:
            return
        self.numbers[question] += 1
        self.largest[question] = max(self.largest.get(question, 0.0), relative)
        self.lines.append(f"{where}: {old!r} -> {new!r} (relative {relative:.2e})")

    def _text(self, question: str, where: str, old: str, new: str) -> None:
        """Other words are no difference; other figures in them are."""
        told = [FIGURE.findall(text) for text in (old, new)]
        self.words[question] += 1
        if told[0] != told[1]:
            self.figures[question] += 1
        if self.texts or told[0] != told[1]:
            self.lines.append(f"{where}: text\n  {old!r}\n  {new!r}")

    def _shape(self, question: str, line: str) -> None:
        self.shapes[question] += 1
        self.lines.append(line)

    def summary(self) -> str:
        """A line a question."""
        heads = ("numbers", "differ", "largest", "shape", "texts", "figures")
        rows = [f"{'question':15}" + "".join(f"{head:>9}" for head in heads)]
        for q in sorted(self.compared | self.shapes | self.words):
            rows.append(
                f"{q:15}{self.compared[q]:9}{self.numbers[q]:9}{self.largest.get(q, 0.0):9.1e}"
                f"{self.shapes[q]:9}{self.words[q]:9}{self.figures[q]:9}"
            )
        return "\n".join(rows)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) < 80 else text[:77] + "..."


def answers_in(folder: Path) -> dict[tuple[str, str], Path]:
    """Every answer by (log, question)."""
    return {(p.parent.name, p.stem): p for p in sorted(folder.glob("*/*.json"))
            if p.parent.name != "logs"}  # fmt: skip


def compare(old: Path, new: Path, rel: float, texts: bool) -> int:
    """Prints what differs; 1 if a number or a shape does, or nothing could be compared.

    Args:
        old, new: Folders that `take` filled.
        rel: Numbers that differ relatively by no more are equal.
        texts: List texts whose words alone differ, too.
    """
    before, after = answers_in(old), answers_in(new)
    found = Differences(rel, texts)
    for key in sorted(before.keys() | after.keys()):
        if key not in before or key not in after:
            found._shape(key[1], f"{' '.join(key)}: only in {old if key in before else new}")
            continue
        parts = [json.loads(side[key].read_text("utf-8")) for side in (before, after)]
        found.compare(key[1], " ".join(key) + " ", *parts)
    print("\n".join([*found.lines, found.summary()]))
    return int(not before or bool(found.numbers or found.shapes or found.figures))
