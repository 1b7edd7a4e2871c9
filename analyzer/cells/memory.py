"""What is known of each cell, carried from stretch to stretch and from trip to trip.

Kept are the probabilities of all hypotheses. A later stretch adds its evidence to them; as both
share errors (of a cell's voltage input, of the curve), a hundred stretches that say the same count
as ten that err each for itself.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.cells.hypotheses import GRID, HEALTHY, after_levelling

Floats = npt.NDArray[np.float64]

NEW_FAULT = (
    0.01  # of what is known gives way to anything again, from one stretch to another; assumed
)
LEAST_KEPT = 1e-5  # probability below which a hypothesis is not written into the log; assumed


@dataclass(frozen=True)
class CellMemory:
    """Of all cells or blocks that are measured.

    Args:
        label: The pack's numbers it rests on.
        names: "cell 1", ...
        weight: Probability of each hypothesis of `GRID`, (cells, g).
        excess_ohm, excess_sd_ohm: Resistance above the median cell's, (cells,); sd infinite where
            nothing is known.
        told: Cause by which a cell was called last; no entry where none was.
    """

    label: str
    names: tuple[str, ...]
    weight: Floats
    excess_ohm: Floats
    excess_sd_ohm: Floats
    told: dict[str, str]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and dicts; only likely hypotheses."""
        kept = []
        for row in self.weight:
            at = np.flatnonzero(row > LEAST_KEPT)
            kept.append([at.tolist(), [float(f"{w:.3g}") for w in row[at]]])
        known = np.isfinite(self.excess_sd_ohm)
        return {
            "label": self.label,
            "names": list(self.names),
            "hypotheses": len(GRID.prior),
            "weight": kept,
            "excess_ohm": [float(f"{r:.4g}") for r in self.excess_ohm],
            "excess_sd_ohm": [
                float(f"{sd:.4g}") if ok else None
                for sd, ok in zip(self.excess_sd_ohm, known, strict=True)
            ],
            "told": self.told,
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "CellMemory":
        """The inverse of `to_dict`.

        Raises:
            ValueError: Another version of the program, with other hypotheses, kept it.
        """
        if data["hypotheses"] != len(GRID.prior):
            raise ValueError("kept with other hypotheses")
        weight = np.tile(LEAST_KEPT * GRID.prior, (len(data["names"]), 1))
        for row, (at, values) in zip(weight, data["weight"], strict=True):
            row[at] = values
        sd = [np.inf if v is None else v for v in data["excess_sd_ohm"]]
        return cls(
            data["label"],
            tuple(data["names"]),
            weight / weight.sum(axis=1, keepdims=True),
            np.array(data["excess_ohm"]),
            np.array(sd),
            dict(data["told"]),
        )


def combined(known: Floats, log_likelihood: Floats) -> Floats:
    """What is known and what a stretch says, as probabilities, (cells, g).

    Of each hypothesis the evidence against a healthy cell, as a log of odds. Where both say the
    same they may say it for the same reason, and add as their squares; where they say the
    contrary, they add as Bayes has it.

    Args:
        known: Before the stretch, (cells, g).
        log_likelihood: Of the stretch, (cells, g).
    """
    earlier = _against_healthy(np.log(np.maximum(known, 1e-300) / GRID.prior))
    now = _against_healthy(log_likelihood)
    agree = earlier * now > 0
    both = np.where(agree, np.sign(now) * np.hypot(earlier, now), earlier + now)
    log_weight = np.log(GRID.prior) + both
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _against_healthy(log_odds: Floats) -> Floats:
    return np.asarray(log_odds - log_odds[:, GRID.cause == HEALTHY])


def passed_on(weight: Floats, levelled: bool) -> Floats:
    """What is known when the next stretch begins, (cells, g).

    Args:
        levelled: Whether a full charge lies between.
    """
    after = after_levelling(weight) if levelled else weight
    return np.asarray((1 - NEW_FAULT) * after + NEW_FAULT * GRID.prior)
