"""Unbroken twins of the cases: what caution costs where nothing is broken.

python -m tests.breakage --twins before.json --count 30 --seed 7     (in one state of the code)
python -m tests.breakage --twins after.json --count 30 --seed 7      (in the other)
python -m tests.breakage --twins-compare before.json after.json

Each case's boat, kit, day and moment, with the throttle as it was moved and nothing broken; every
estimate of every answer is kept. Caution must not be bought with width: the middle stays within
2 % and the width within 10 %.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tests.breakage import cases, drawing
from tests.breakage.asking import Said
from tests.breakage.physics import walk

MIDDLE, WIDTH = 0.02, 0.10  # the bars
FINE = 0.01  # of the middle: a narrower range may change by so much of it; assumed
Twins = dict[str, dict[str, dict[str, Any]]]


def twin(case: cases.Case) -> cases.Case:
    """The same boat at the same moment with nothing broken."""
    return replace(case, breaks=())


def estimates(said: Said) -> dict[str, dict[str, Any]]:
    """Path -> low, mid, high and unit of every estimate that has a middle."""
    found = {}
    for question, answer in said.answers.items():
        for path, value in walk(answer.data, question):
            if isinstance(value, dict) and "coverage" in value and value["mid"] is not None:
                found[path] = {key: value[key] for key in ("low", "mid", "high", "unit")}
    return found


def take(path: Path, seeds: Sequence[int], kinds: Sequence[str]) -> None:
    """Asks the twins of some cases and keeps their estimates."""
    kept: Twins = {}
    for seed in seeds:
        said, _ = cases.run(twin(drawing.draw(seed, kinds)))
        kept[str(seed)] = estimates(said)
    path.write_text(json.dumps(kept, indent=0) + "\n", encoding="utf-8")


@dataclass(frozen=True)
class Moved:
    """An estimate that is not what it was; shares of the bars, 1 is one bar."""

    where: str
    middle: float
    width: float
    text: str

    @property
    def beyond(self) -> bool:
        """Whether a bar is passed."""
        return self.middle > 1 or self.width > 1


def compared(old: Twins, new: Twins) -> Iterator[Moved]:
    """Every estimate of twins that both have; one that only one has is beyond all bars."""
    for seed in sorted(old.keys() & new.keys(), key=int):
        for path in sorted(old[seed].keys() | new[seed].keys()):
            a, b = old[seed].get(path), new[seed].get(path)
            where = f"{seed}: {path}"
            if a is None or b is None:
                which = "new" if a is None else "old"
                yield Moved(where, 99.0, 99.0, f"only in the {which} state: {a or b}")
            else:
                yield _moved(where, a, b)


def _moved(where: str, a: dict[str, Any], b: dict[str, Any]) -> Moved:
    """A charge or share is compared in points, all else relative to what it was."""
    size = 1.0 if a["unit"] == "frac" else abs(a["mid"])
    middle = _share(abs(b["mid"] - a["mid"]), MIDDLE * size)
    before, after = _width(a), _width(b)
    width = _share(abs(after - before), max(WIDTH * before, FINE * size))
    text = " -> ".join(f"{e['low']} {e['mid']} {e['high']} {e['unit']}" for e in (a, b))
    return Moved(where, middle, width, text)


def _share(off: float, bar: float) -> float:
    return off / bar if off else 0.0


def _width(e: dict[str, Any]) -> float:
    return float((e["high"] or 0.0) - (e["low"] or 0.0))


def report(rows: Sequence[Moved]) -> str:
    """The estimates beyond a bar, worst first, and how many there are."""
    beyond = sorted((r for r in rows if r.beyond), key=lambda r: -max(r.middle, r.width))
    lines = [
        f"{r.where}: middle {r.middle:.1f}, width {r.width:.1f} bars off: {r.text}" for r in beyond
    ]
    same = sum(r.middle == r.width == 0 for r in rows)
    lines.append(f"{len(rows)} estimates: {same} the same, {len(beyond)} beyond a bar")
    return "\n".join(lines)


def compare(old: Path, new: Path) -> int:
    """Prints what moved; 1 where an estimate is beyond a bar."""
    rows = list(compared(*(json.loads(path.read_text(encoding="utf-8")) for path in (old, new))))
    print(report(rows))
    return int(any(row.beyond for row in rows))
