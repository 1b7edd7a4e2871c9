"""The cell that ends the trip, by all likely causes, each with its weight."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Deficit:
    """Charge that the cell lacks when it is empty, by one cause.

    Args:
        weight: Probability of the cause.
        mean, sd: As a share of the pack's capacity.
    """

    weight: float
    mean: float
    sd: float


@dataclass(frozen=True)
class WeakCell:
    """The cell that will end the trip, against the mean cell.

    Args:
        name: "cell 7" or "block 2".
        r_excess_ohm, r_excess_sd_ohm: Resistance above the others'.
        deficits: By cause; what is left of their weights is a cell that lacks nothing.
        told: Whether it is found to be weak; else it is only the likeliest to be.
    """

    name: str
    r_excess_ohm: float
    r_excess_sd_ohm: float
    deficits: tuple[Deficit, ...] = ()
    told: bool = True

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "WeakCell":
        """What `dataclasses.asdict` made of it."""
        deficits = tuple(Deficit(**one) for one in data["deficits"])
        return cls(
            data["name"], data["r_excess_ohm"], data["r_excess_sd_ohm"], deficits, data["told"]
        )
