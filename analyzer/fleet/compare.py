"""Boats beside boats like them, and which to look at first.

Hulls of any size are alike at equal Froude number and equal displacement-length (displacement
over the cube of the waterline's length): there, power over weight times speed says what is
lost to growth, propeller and motor. Boats count as alike within a factor of `WIDTH` of
displacement-length. Only speeds at which a boat was measured are compared.
"""

import math
from collections import defaultdict
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from analyzer.series.physics import GRAVITY
from logger.units import HOUR_S, NMI, TONNE

WIDTH = 1.25  # of a class of displacement-length, assumed
FEWEST = 3  # boats, for a median to be said, assumed
LEVELS = ("act now", "warning", "notice", "")

Row = dict[str, Any]


@dataclass(frozen=True)
class Concern:
    """The most pressing thing about one boat."""

    log: str
    boat: str
    subject: str
    text: str
    level: str
    sureness_frac: float

    @property
    def rank(self) -> tuple[int, float, str]:
        """Smallest first: by the level of a standing flag, then by sureness."""
        return LEVELS.index(self.level), -self.sureness_frac, self.log


@dataclass
class Likeness:
    """Gathers boats, then says of each how it stands beside those like it."""

    _costs: dict[tuple[int, float], list[float]] = field(default_factory=lambda: defaultdict(list))
    _concerns: list[Concern] = field(default_factory=list)
    _places: dict[str, int] | None = None

    def add(self, record: Row) -> None:
        """Takes in one boat's curve, where it was measured."""
        for point in record["curve"]:
            if point["seen"]:
                at = _class(displacement_length_kg_m3(record)), point["froude"]
                self._costs[at].append(transport_cost_frac(record, point))

    def worry(self, concern: Concern) -> None:
        """Takes in what is most pressing about one boat."""
        self._concerns.append(concern)
        self._places = None

    def concerns(self) -> list[Concern]:
        """The most pressing first."""
        return sorted(self._concerns, key=lambda c: c.rank)

    def place(self, log: str) -> int | None:
        """A log's place among those to look at first; None where nothing presses."""
        if self._places is None:
            self._places = {c.log: n for n, c in enumerate(self.concerns(), 1)}
        return self._places.get(log)

    def beside(self, density: float, froude: float, cost: float | None) -> Row:
        """The class of boats like one of a displacement-length, and its cost beside theirs."""
        number = _class(density)
        costs = self._costs.get((number, froude), [])
        middle = median(costs) if len(costs) >= FEWEST else None
        return {
            "like_from_kg_m3": WIDTH**number,
            "like_to_kg_m3": WIDTH ** (number + 1),
            "like_boats": len(costs),
            "like_median_frac": middle,
            "against_like_frac": cost / middle if middle and cost is not None else None,
        }

    def curves(self) -> list[tuple[float, float, dict[float, list[float]]]]:
        """For each class its ends and, by Froude number, the costs of its boats in order."""
        classes = sorted({number for number, _ in self._costs})
        return [
            (
                WIDTH**number,
                WIDTH ** (number + 1),
                {f: sorted(c) for (n, f), c in sorted(self._costs.items()) if n == number},
            )
            for number in classes
        ]


def concern(log: str, record: Row, findings: list[Row]) -> Concern | None:
    """The most pressing finding about a boat's cells and joints; None where there is none."""
    concerns = [
        Concern(
            log, record["boat"]["name"], f["subject"], f["text"], f["level"], f["sureness_frac"]
        )
        for f in findings
    ]
    return min(concerns, key=lambda c: c.rank, default=None)


def displacement_length_kg_m3(record: Row) -> float:
    """Displacement over the cube of the waterline's length. [kg/m³]"""
    boat = record["boat"]
    return float(boat["displacement_kg"] / boat["waterline_m"] ** 3)


def transport_cost_frac(record: Row, point: Row) -> float:
    """Power over weight times speed, at a point of a boat's curve."""
    weight_n = record["boat"]["displacement_kg"] * GRAVITY
    return float(point["power"]["mid"] / (weight_n * point["speed_water_mps"]))


def wh_per_tonne_nmi(cost_frac: float) -> float:
    """A transport cost as energy for a tonne of boat and a nautical mile. [Wh]"""
    return cost_frac * GRAVITY * TONNE * NMI / HOUR_S


def _class(density: float) -> int:
    return math.floor(math.log(density) / math.log(WIDTH))
