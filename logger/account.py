"""What became of a recording: the shapes in which it is told."""

from dataclasses import dataclass

SHOWN_KINDS = 20  # unknown identifiers told by name, the commonest first; assumed


@dataclass(frozen=True)
class Part:
    """A file, or what decodes files of one kind.

    Args:
        name: The file's, or the source's.
        read: Lines, rows or frames.
        unknown: Kinds that nothing here decodes -> how often they came, the commonest first.
        passed_over: Other causes for which a line says nothing -> how often; no fault.
        spoiled: Causes for which a line or a reading was refused -> how often.
    """

    name: str
    read: int
    unknown: dict[str, int]
    passed_over: dict[str, int]
    spoiled: dict[str, int]


@dataclass(frozen=True)
class Filled:
    """A channel that got readings. first_utc_s, last_utc_s: None where no date is known."""

    name: str
    readings: int
    first_utc_s: float | None
    last_utc_s: float | None


@dataclass(frozen=True)
class Account:
    """All of it; channels in the order in which they came."""

    parts: tuple[Part, ...]
    channels: tuple[Filled, ...]

    @property
    def readings(self) -> int:
        """Stored in all."""
        return sum(channel.readings for channel in self.channels)
