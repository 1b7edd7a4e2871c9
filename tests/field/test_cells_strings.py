"""Strings of cells over three days each, by other physics: the right cell, cause and size, always
named the same way.

Eight strings in the build; `KEELWATT_FULL=1 pytest -s tests/field/test_cells_strings.py` lives
through 200 (ten minutes of processor time) and prints the table.
"""

import json
import os
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache

import pytest

from analyzer.cells.memory import CellMemory
from analyzer.cells.monitor import CellMonitor
from tests.support.cell_strings import CellString, cell_string, days

FULL = bool(os.environ.get("KEELWATT_FULL"))
STRINGS = 200 if FULL else 8
HOUR_S = 3600
CAUSES = {"cell_charge", "cell_capacity"}


@dataclass(frozen=True)
class Life:
    """What was told of one string, hour by hour: cell, kind, size."""

    string: CellString
    told: list[list[tuple[str, str, float]]]

    @property
    def name(self) -> str:
        return f"cell {self.string.cell}"

    @property
    def cells(self) -> set[str]:
        """Told at the end."""
        return {subject for subject, _, _ in self.told[-1]}

    @property
    def kinds(self) -> set[str]:
        """Told of the faulty cell at the end."""
        return {kind for subject, kind, _ in self.told[-1] if subject == self.name}

    @property
    def renamed(self) -> bool:
        """Whether a cell that was called one thing was called another an hour later."""
        for before, after in zip(self.told, self.told[1:], strict=False):
            was = {(s, k) for s, k, _ in before if k in CAUSES}
            now = {s: k for s, k, _ in after if k in CAUSES | {"cell_behind"}}
            if any(now.get(subject) != kind for subject, kind in was):
                return True
        return False

    @property
    def false(self) -> bool:
        """Whether a sound cell was ever told of."""
        sound = {s for hour in self.told for s, _, _ in hour}
        return bool(sound - ({self.name} if self.string.fault else set()))


def _live(number: int) -> Life:
    """Each day with a monitor that knows what the log kept of the day before."""
    string, told, kept = cell_string(number), [], None
    for day in days(string):
        memory = CellMemory.from_dict(json.loads(kept)) if kept else None
        monitor = CellMonitor(string.pack, memory)
        per = round(HOUR_S / day.step_s)
        for first in range(0, day.n, per):
            monitor.update(day.cut(first, min(first + per, day.n)))
            found = monitor.detections()
            told.append([(f.subject, f.kind, float(f.size.high or 0.0)) for f in found])
        kept = json.dumps(monitor.memory().to_dict())
    return Life(string, told)


@lru_cache(maxsize=1)
def lives() -> list[Life]:
    return [_live(number) for number in range(STRINGS)]


@pytest.fixture(scope="module")
def faulty():
    return [life for life in lives() if life.string.fault]


def _is_found(life: Life) -> bool:
    return life.name in life.cells


def _is_renamed(life: Life) -> bool:
    return life.renamed


def _share(holds) -> float:
    return sum(holds) / len(holds)


def test_table(faulty):
    """Prints what is asserted below, by fault."""
    for fault in sorted({life.string.fault for life in faulty}):
        ones = [life for life in faulty if life.string.fault == fault]
        kinds = Counter("+".join(sorted(life.kinds)) or "nothing" for life in ones)
        found, renamed = (_share([f(o) for o in ones]) for f in (_is_found, _is_renamed))
        print(f"\n{fault:16} {len(ones)} strings: cell {found:.3f}, renamed {renamed:.3f}")
        print(f"{'':16} told as {dict(kinds)}")
    print(f"a sound cell told of: {_share([life.false for life in lives()]):.3f}")
    assert len(faulty) == STRINGS * 3 // 4


def test_the_right_cell_is_found(faulty):
    assert _share([_is_found(life) for life in faulty]) >= 0.99


def test_the_cause_is_right_or_cannot_be_told_apart(faulty):
    right = [life.string.fault in life.kinds or life.kinds == {"cell_behind"} for life in faulty]
    assert _share(right) >= 0.90


def test_no_size_is_beyond_what_a_cell_can_lack():
    for life in lives():
        for hour in life.told:
            assert all(high <= 1.0 for _, kind, high in hour if kind != "cell_resistance")


def test_a_cell_is_named_the_same_way_from_hour_to_hour():
    assert not any(_is_renamed(life) for life in lives())


def test_no_sound_cell_is_told_of():
    assert _share([life.false for life in lives()]) <= 0.01
