"""What `prior.py` draws, kept beside it: to draw it takes an eighth of a cold answer's time.

    python -m analyzer.pack.curves.kept_prior

draws it anew, after a change to `prior.py` or to what it rests on; a test holds both together.
"""

import json
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from analyzer.pack.curves.doubt import GRID, at_knots
from analyzer.pack.curves.service_prior import Part

Floats = npt.NDArray[np.float64]

KEPT = Path(__file__).with_name("lithium.json")


class KeptPrior(NamedTuple):
    """Of one chemistry.

    Args:
        parts: Of ln(C/label).
        mean_v: The curve, on `GRID`.
        beta_v: Its regression on ln(C/label), at `KNOTS`, (k,).
        shared_v2: Covariance of what that leaves, at `KNOTS`, (k, k).
    """

    parts: tuple[Part, ...]
    mean_v: Floats
    beta_v: Floats
    shared_v2: Floats


def kept_prior(name: str) -> KeptPrior:
    """Of "lfp" or "nmc"."""
    kept = _read()[name]
    parts = tuple((weight, mean, sd) for weight, mean, sd in kept["parts"])
    numbers = [np.array(kept[field]) for field in KeptPrior._fields[1:]]
    return KeptPrior(parts, *numbers)


def drawn_anew(name: str) -> KeptPrior:
    """The same, drawn now."""
    from analyzer.pack.curves.prior import curve_prior

    drawn = curve_prior(name, GRID)
    rest_v = np.array([at_knots(row) for row in drawn.rest_v])
    return KeptPrior(drawn.parts, drawn.mean_v, at_knots(drawn.beta_v), rest_v.T @ rest_v)


@lru_cache(maxsize=1)
def _read() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8"))
    return found


def main() -> None:
    """Draws all and keeps it."""
    found = {}
    for name in ("lfp", "nmc"):
        of_name = drawn_anew(name)._asdict()
        found[name] = {field: np.asarray(value).tolist() for field, value in of_name.items()}
    KEPT.write_text(json.dumps(found, indent=0) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
