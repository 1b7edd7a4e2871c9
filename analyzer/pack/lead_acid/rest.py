"""Rest voltage of lead-acid cells by charge: what is published, and how far it differs.

No two makers publish the same curve: acid is between 1.24 and 1.31 kg/l dense when a cell is full,
after what it is made for, and a cell that is "empty" keeps more or less of it. So each kind has
several published curves (`rest_curves.toml`, with their sources); their mean is the curve, and what
they differ by is its doubt.
"""

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Rest voltage less acid density, in V and kg/l: common practice, printed with density tables.
DENSITY_RULE_V = 0.845
CELLS_A_BLOCK = 6  # of 12 V; by definition


@cache
def published_curves() -> dict[str, list[Floats]]:
    """By kind, cell voltages at equal steps of charge. [V]"""
    text = Path(__file__).with_name("rest_curves.toml").read_text(encoding="utf-8")
    return {kind: [_cell_v(row) for row in rows] for kind, rows in tomllib.loads(text).items()}


def _cell_v(row: dict[str, list[float]]) -> Floats:
    """A published curve as voltage of one cell. [V]"""
    if "cell_v" in row:
        return np.array(row["cell_v"])
    if "block_v" in row:
        return np.array(row["block_v"]) / CELLS_A_BLOCK
    return np.array(row["density_kg_l"]) + DENSITY_RULE_V


def published_v(kind: str, soc: Floats) -> Floats:
    """Every published curve of a kind. [V] soc: (n,); returns (m, n).

    Args:
        kind: "lead_acid" (flooded), "agm" or "gel".
    """
    curves = published_curves()[kind]
    return np.array([np.interp(soc, np.linspace(0, 1, len(volts)), volts) for volts in curves])


def rest_v(kind: str, soc: Floats) -> Floats:
    """Mean of the published curves. [V] same shape as soc."""
    return np.asarray(published_v(kind, soc).mean(axis=0))


def rest_modes_v(kind: str, soc: Floats) -> tuple[float, Floats]:
    """How a further cell of the kind may differ from the mean.

    Of m curves with f degrees of freedom a further one differs from their mean as Student's t
    scaled by s² (1 + 1/m), s² the sample variance, so with f / (f - 2) times that variance. The
    modes' outer products sum to that covariance, with each mode's level taken out.

    Returns:
        Standard deviation of the level [V]; modes of the form, (m, n). [V]
    """
    # Sealed kinds are so few that what each lies off its own kind's mean is pooled.
    pooled = [kind] if kind == "lead_acid" else ["agm", "gel"]
    curves = [published_v(k, soc) for k in pooled]
    free = sum(len(c) - 1 for c in curves)
    further = 1 + 1 / len(published_curves()[kind])
    off = np.concatenate([c - c.mean(axis=0) for c in curves])
    off *= np.sqrt(further / (free - 2))
    # A level is a state of the filter by itself; left in the modes it would count twice.
    level = off.mean(axis=1)
    return float(np.sqrt(np.sum(level**2))), off - level[:, None]
