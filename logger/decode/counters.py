"""Counts of what went well and what did not, one object per source."""

from collections import Counter

FINE = frozenset({"frames", "values", "missing", "reconnects", "bus_bits"})
PASSED_OVER = frozenset(
    {"unknown_id", "unknown_sentence", "unknown_bus", "void", "remote", "untimed", "error_frame",
     "bus_off", "dropped", "raw_lost"}
)  # fmt: skip
MOST_KINDS = 500  # told by name: a bus has fewer, noise has any number; assumed


class Counters:
    """What a source and its decoder have seen so far.

    Causes used: frames, values, out_of_limits, missing, unknown_id, unknown_sentence, length,
    checksum, syntax, void, torn, remote, error_frame, untimed, too_many_kinds, lost_packet,
    bus_off, reconnects, unknown_bus, dropped, raw_lost, internal, bus_bits (what the frames took
    of the bus's time), and those that the sources of single devices name in their own text.

    Args:
        name: The source's name; health channels are called health_<name>_<cause>_count.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self._counts: Counter[str] = Counter()
        self._kinds: Counter[str] = Counter()

    def add(self, cause: str, n: int = 1) -> None:
        """Counts `n` more of a cause."""
        if n:
            self._counts[cause] += n

    def add_unknown(self, cause: str, kind: str, n: int = 1) -> None:
        """Counts `n` more of a kind that nothing decodes, as that cause and by its name."""
        self.add(cause, n)
        if kind in self._kinds or len(self._kinds) < MOST_KINDS:
            self._kinds[kind] += n

    def unknown_kinds(self) -> Counter[str]:
        """How often each kind came that nothing decodes; the first few hundred kinds."""
        return self._kinds

    def __getitem__(self, cause: str) -> int:
        return self._counts[cause]

    def as_dict(self) -> dict[str, int]:
        """All causes counted so far, in alphabetical order."""
        return dict(sorted(self._counts.items()))

    def errors(self) -> dict[str, int]:
        """The causes that mean something was not read, with their counts."""
        return {cause: n for cause, n in self.as_dict().items() if cause not in FINE and n}

    def faults(self) -> int:
        """How much was broken or implausible; what nobody asked for does not count."""
        return sum(n for cause, n in self.errors().items() if cause not in PASSED_OVER)
