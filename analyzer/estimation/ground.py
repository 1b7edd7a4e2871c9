"""The standing of an input: what an answer rests on, as every answer carries it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Standing = Literal[
    "measured now", "measured until", "bridged by", "told by a device", "assumed", "contradicted by"
]
STANDINGS: tuple[Standing, ...] = (
    "measured now", "measured until", "bridged by", "told by a device", "assumed",
    "contradicted by",
)  # fmt: skip

OLD_S = 120.0  # an answer of readings this old is not of now; assumed

# Readings farther apart miss a change of the throttle; assumed, as long as a fast one is held.
SPARSE_S = 30.0


@dataclass(frozen=True)
class Ground:
    """One input of an answer, and how it stands.

    Args:
        input: For people: "pack current".
        standing: One of `STANDINGS`.
        by: What bridges, assumes or contradicts it; empty where it is measured.
        channel: Where it is read; empty where nothing reads it.
        until_utc_s: When it was last read; None where it never was.
        interval_s: The channel's own usual interval.
    """

    input: str
    standing: Standing
    by: str = ""
    channel: str = ""
    until_utc_s: float | None = None
    interval_s: float | None = None

    @property
    def broken(self) -> bool:
        """Whether an answer that rests on it must say so first."""
        return self.standing in ("measured until", "contradicted by")

    @property
    def sparse(self) -> bool:
        """Whether it is read, but so seldom that what lies between is not seen."""
        return self.standing == "measured now" and (self.interval_s or 0.0) > SPARSE_S


def broken(grounds: Sequence[Ground], inputs: Sequence[str]) -> tuple[Ground, ...]:
    """Those of some inputs that an answer must name, the contradicted first."""
    found = [g for g in grounds if g.broken and g.input in inputs]
    return tuple(sorted(found, key=lambda g: g.standing != "contradicted by"))


def standing_of(grounds: Sequence[Ground], name: str) -> Ground | None:
    """The standing of one input; None where nothing decided it."""
    return next((g for g in grounds if g.input == name), None)


def is_contradicted(grounds: Sequence[Ground], name: str) -> bool:
    """Whether other inputs speak against one."""
    ground = standing_of(grounds, name)
    return ground is not None and ground.standing == "contradicted by"
