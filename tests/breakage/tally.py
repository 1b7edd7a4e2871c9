"""Results added up: by kind of breakage, by invariant, and how often ranges held."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.breakage.cases import Case, Result

LEAST_HELD = 0.76  # of ranges that say eight in ten


@dataclass(frozen=True)
class Missed:
    """One case in which something did not hold."""

    seed: int
    case: Case
    text: str


@dataclass
class Tally:
    """Counts over cases."""

    cases: Counter[str] = field(default_factory=Counter)
    clean: Counter[str] = field(default_factory=Counter)
    misses: dict[tuple[str, str], list[Missed]] = field(default_factory=lambda: defaultdict(list))
    held: dict[tuple[str, str], list[bool]] = field(default_factory=lambda: defaultdict(list))

    @property
    def clean_frac(self) -> float:
        """Share of cases without a miss."""
        return self.clean.total() / max(self.cases.total(), 1)

    def add(self, seed: int, result: Result) -> None:
        """One more case."""
        kinds = sorted({b.kind for b in result.case.breaks}) or ["sound"]
        for kind in kinds:
            self.cases[kind] += 1 / len(kinds)  # type: ignore[assignment]
            self.clean[kind] += (not result.misses) / len(kinds)  # type: ignore[assignment]
        seen = set()
        for miss in result.misses:
            key = miss.invariant, statement(miss.text)
            if key not in seen:
                self.misses[key].append(Missed(seed, result.case, miss.text))
            seen.add(key)
        for s in result.stated:
            if not s.excuse:
                for kind in kinds:
                    self.held[kind, s.what].append(s.held)

    def held_frac(self, what: str, kinds: Iterable[str] | None = None) -> tuple[float, int]:
        """How often ranges of a statement held, and of how many."""
        rows = [h for (kind, name), held in self.held.items() for h in held
                if name == what and (kinds is None or kind in kinds)]  # fmt: skip
        return (sum(rows) / len(rows) if rows else 1.0), len(rows)

    def report(self) -> str:
        """The summary, most frequent first."""
        return "\n\n".join([self._by_kind(), self._by_statement(), self._by_cause()])

    def _by_kind(self) -> str:
        lines = [f"{self.clean_frac:.1%} of {self.cases.total():.0f} cases without a miss", ""]
        lines.append(f"{'kind':<16}{'cases':>7}{'clean':>8}   ranges that held")
        for kind, n in sorted(self.cases.items(), key=lambda row: -row[1]):
            ranges = ", ".join(
                f"{what} {sum(h) / len(h):.0%} of {len(h)}"
                for (k, what), h in sorted(self.held.items())
                if k == kind and sum(h) / len(h) < LEAST_HELD
            )
            lines.append(f"{kind:<16}{n:>7.0f}{self.clean[kind] / n:>8.0%}   {ranges or 'all'}")
        return "\n".join(lines)

    def _by_statement(self) -> str:
        lines = ["Ranges over all cases (bar 76 %)"]
        for name in sorted({name for _, name in self.held}):
            share, n = self.held_frac(name)
            lines.append(f"  {name:<26}{share:>6.0%} of {n}")
        return "\n".join(lines)

    def _by_cause(self) -> str:
        lines = ["Misses, most frequent first: what is broken, what is on board, examples"]
        for (invariant, what), rows in sorted(self.misses.items(), key=lambda r: -len(r[1])):
            causes = Counter(b for row in rows for b in row.case.causes)
            kits = Counter(row.case.kit for row in rows)
            lines.append(f"{len(rows):>5}  {invariant}: {what}")
            lines.append(f"         broken: {_counted(causes, 8)}")
            lines.append(f"         kit: {_counted(kits, 6)}")
            lines += [f"         --case {row.seed}: {row.text[:200]}" for row in rows[:3]]
        return "\n".join(lines)


def _counted(counter: Counter[str], most: int) -> str:
    return ", ".join(f"{name} {n}" for name, n in counter.most_common(most))


def statement(text: str) -> str:
    """What a miss is about: its words up to the first figure or second colon."""
    parts = text.split(":")
    head = ":".join(parts[:2]) if len(parts[0]) < 8 else parts[0]
    words = []
    for word in head.split():
        if any(c.isdigit() for c in word):
            break
        words.append(word)
    return " ".join(words)[:60]
