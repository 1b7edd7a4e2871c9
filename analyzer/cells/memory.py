"""What is known of each cell, carried from stretch to stretch and from trip to trip.

Kept are the probabilities of all hypotheses. A later stretch adds its evidence to them; as both
share errors (of a cell's voltage input, of the curve), a hundred stretches that say the same count
as ten that err each for itself.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.cells.hypotheses import PRIOR, after_levelling

Floats = npt.NDArray[np.float64]

# Of what is known gives way to anything again from stretch to stretch. One cell in a hundred is
# faulty at all (`FAULT`), after hundreds of stretches, so that a new fault is rarer than this; the
# rest is for what was known wrongly. Assumed.
NEW_FAULT = 0.001
LEAST_KEPT = 1e-5  # probability below which a hypothesis is not written into the log; assumed


@dataclass(frozen=True)
class CellMemory:
    """Of all cells or blocks that are measured.

    Args:
        label: The pack's numbers it rests on.
        names: "cell 1", ...
        weight: Probability of each hypothesis by what its levels have shown, (cells, 2, g).
        excess_ohm, excess_sd_ohm: Resistance above the median cell's by the load steps of all
            trips, (cells,); sd infinite where nothing is known.
        told: What a cell was called last; no entry where it was called nothing.
    """

    label: str
    names: tuple[str, ...]
    weight: Floats
    excess_ohm: Floats
    excess_sd_ohm: Floats
    told: dict[str, list[str]]

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and dicts; only likely hypotheses."""
        kept = []
        for row in self.weight.reshape(len(self.names), -1):
            at = np.flatnonzero(row > LEAST_KEPT)
            kept.append([at.tolist(), [float(f"{w:.3g}") for w in row[at]]])
        known = np.isfinite(self.excess_sd_ohm)
        return {
            "label": self.label,
            "names": list(self.names),
            "hypotheses": PRIOR.size,
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
        if data["hypotheses"] != PRIOR.size:
            raise ValueError("kept with other hypotheses")
        weight = np.tile(LEAST_KEPT * PRIOR.ravel(), (len(data["names"]), 1))
        for row, (at, values) in zip(weight, data["weight"], strict=True):
            row[at] = values
        sd = [np.inf if v is None else v for v in data["excess_sd_ohm"]]
        return cls(
            data["label"],
            tuple(data["names"]),
            (weight / weight.sum(axis=1, keepdims=True)).reshape(-1, *PRIOR.shape),
            np.array(data["excess_ohm"]),
            np.array(sd),
            dict(data["told"]),
        )


def combined(known: Floats, log_likelihood: Floats) -> Floats:
    """What is known and what a stretch says, as probabilities, (cells, 2, g).

    Of each hypothesis the evidence against a healthy cell, as a log of odds. Where both say the
    same they may say it for the same reason, and add as their squares; where they say the
    contrary, they add as Bayes has it.

    Args:
        known: Before the stretch, (cells, 2, g).
        log_likelihood: Of the stretch, (cells, 2, g).
    """
    earlier = _against_healthy(np.log(np.maximum(known, 1e-300) / PRIOR))
    now = _against_healthy(log_likelihood)
    agree = earlier * now > 0
    both = np.where(agree, np.sign(now) * np.hypot(earlier, now), earlier + now)
    return probabilities(np.log(PRIOR) + both)


def probabilities(log_weight: Floats) -> Floats:
    """Of each cell, summing to one, (cells, 2, g)."""
    most = log_weight.max(axis=(1, 2), keepdims=True)
    weight = np.exp(log_weight - most)
    return np.asarray(weight / weight.sum(axis=(1, 2), keepdims=True))


def _against_healthy(log_odds: Floats) -> Floats:
    return np.asarray(log_odds - log_odds[:, :1, :1])


def passed_on(weight: Floats, levelled: bool) -> Floats:
    """What is known when the next stretch begins, (cells, 2, g).

    Args:
        levelled: Whether a full charge lies between.
    """
    after = after_levelling(weight) if levelled else weight
    return np.asarray((1 - NEW_FAULT) * after + NEW_FAULT * PRIOR)
