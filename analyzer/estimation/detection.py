"""What is found wrong with a part of the boat, whoever finds it: one shape for all that watch."""

from dataclasses import dataclass, field
from typing import Literal, Protocol, TypeVar

from analyzer.estimation.estimate import Estimate, cannot_say

Level = Literal["notice", "warning", "act now"]
LEVELS: tuple[Level, ...] = ("notice", "warning", "act now")
UNSIZED = cannot_say("nothing of it has a size", "")
INSIDE = {"json": False}  # not part of what `--json` prints of a finding

Chunk = TypeVar("Chunk", contravariant=True)


@dataclass(frozen=True)
class Detection:
    """Something found wrong with a part of the boat, as it is now.

    Args:
        subject: Where: "cell 7", "lug of battery positive".
        kind: What is wrong, one word for programs: "cell_resistance".
        text: What was measured, with figures.
        sureness_frac: Probability that it is so; 1: read directly, past a limit for long enough.
        size: How much, with its 80 % range and unit.
        cure: What puts it right.
        caution: How somebody could come to harm by it, or by the cure.
        level: How soon it matters.
        key: Of the cause; two detections with one key make one flag.
        channels: The plot that shows it.
        title: One short sentence; empty: the kind's own, as `flags.words` has it.
        cause: The most likely; empty: the kind's own.
        first_action: What to do at once; empty: the kind's own.
        since_us: Since when it has held, on the timeline; None: not known. [µs]
    """

    subject: str
    kind: str
    text: str
    sureness_frac: float = 1.0
    size: Estimate = UNSIZED
    cure: str = ""
    caution: str = ""
    level: Level = field(default="warning", metadata=INSIDE)
    key: str = field(default="", metadata=INSIDE)
    channels: tuple[str, ...] = field(default=(), metadata=INSIDE)
    title: str = field(default="", metadata=INSIDE)
    cause: str = field(default="", metadata=INSIDE)
    first_action: str = field(default="", metadata=INSIDE)
    since_us: int | None = field(default=None, metadata=INSIDE)


class Watcher(Protocol[Chunk]):
    """Whatever follows the log in chunks, in time order, and says what is wrong at the end."""

    def update(self, chunk: Chunk) -> None:
        """Takes the next chunk of the log."""

    def detections(self) -> list[Detection]:
        """What holds at the end of the last chunk; empty where nothing is wrong."""


def worst(detections: list[Detection]) -> list[Detection]:
    """One for each cause: of those with one key the most urgent, the first of equals."""
    best: dict[str, Detection] = {}
    for one in detections:
        held = best.get(one.key)
        if held is None or LEVELS.index(one.level) > LEVELS.index(held.level):
            best[one.key] = one
    return list(best.values())
