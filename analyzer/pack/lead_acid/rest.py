"""Rest voltage of lead-acid cells by charge: what is published, and how far it differs.

No two makers publish the same curve: acid is between 1.24 and 1.31 kg/l dense when a cell is full,
after what it is made for, and a cell that is "empty" keeps more or less of it. So each kind has
several published curves here; their mean is the curve, and what they differ by is its doubt.
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# Rest voltage less acid density, in V and kg/l; a rule of the trade, printed with density tables.
DENSITY_RULE_V = 0.845
QUARTERS = (0.0, 0.25, 0.5, 0.75, 1.0)
TENTHS = tuple(i / 10 for i in range(11))
Curve = tuple[tuple[float, ...], tuple[float, ...]]


def _block(charge: tuple[float, ...], *volts: float) -> Curve:
    """A 12 V block's curve, per cell."""
    return charge, tuple(v / 6 for v in volts)


def _acid(*density: float) -> Curve:
    """From acid density at quarters of charge, by the rule of the trade."""
    return QUARTERS, tuple(d + DENSITY_RULE_V for d in density)


FLOODED: tuple[Curve, ...] = (
    # A maker's data sheet of 6 V deep-cycle blocks, 10 to 100 %; 0 % by the slope above it.
    (TENTHS, (1.892, 1.918, 1.943, 1.969, 1.993, 2.017, 2.040, 2.062, 2.083, 2.103, 2.122)),
    # A public table of density and voltage by temperature, at 27 °C: voltage, and density.
    _block(QUARTERS, 11.89, 12.06, 12.24, 12.45, 12.65),
    _acid(1.120, 1.155, 1.190, 1.225, 1.265),
    # A user's chart for flooded blocks in a public repository.
    _block(TENTHS, 11.59, 11.63, 11.76, 11.87, 11.97, 12.07, 12.18, 12.29, 12.41, 12.53, 12.64),
    # Stationary tubular cells, 1.24 kg/l when full; from memory.
    _acid(1.10, 1.135, 1.17, 1.205, 1.24),
)
AGM: tuple[Curve, ...] = (
    # After 24 hours at rest, as a maker publishes them; the middle where a range is given.
    _block(QUARTERS, 11.80, 12.00, 12.30, 12.60, 12.85),
    # Thin-plate pure lead: 12.84 V when full and 12.0 V at 35 % looked up, the rest from memory.
    _block(QUARTERS, 11.58, 11.88, 12.18, 12.50, 12.84),
    # A vehicle maker's handbook: edges of its bands, the last band's middle; 0 % by the slope.
    _block(QUARTERS, 11.70, 12.00, 12.30, 12.60, 13.00),
    # Starved cells with 1.30 kg/l when full and 1.08 when empty; from memory.
    _acid(1.08, 1.135, 1.19, 1.245, 1.30),
)
GEL: tuple[Curve, ...] = (
    # As the first of the glass mats.
    _block(QUARTERS, 11.80, 12.00, 12.35, 12.65, 12.90),
    # The public table by temperature that flooded cells have above, at 27 °C.
    _block(QUARTERS, 11.80, 12.00, 12.40, 12.60, 12.80),
    # Cells with 1.28 kg/l when full and 1.10 when empty; from memory.
    _acid(1.10, 1.145, 1.19, 1.235, 1.28),
)
PUBLISHED = {"lead_acid": FLOODED, "agm": AGM, "gel": GEL}


def published_v(kind: str, soc: Floats) -> Floats:
    """Every published curve of a kind. [V] soc: (n,); returns (m, n).

    Args:
        kind: "lead_acid" (flooded), "agm" or "gel".
    """
    return np.array([np.interp(soc, at, volts) for at, volts in PUBLISHED[kind]])


def rest_v(kind: str, soc: Floats) -> Floats:
    """Mean of the published curves. [V] same shape as soc."""
    return np.asarray(published_v(kind, soc).mean(axis=0))


def rest_modes_v(kind: str, soc: Floats) -> tuple[float, Floats]:
    """How a further cell of the kind may differ from the mean.

    Of m curves with f degrees of freedom a further one differs from their mean as Student's t
    scaled by s² (1 + 1/m), s² the sample variance, so with f / (f - 2) times that variance. Sealed
    kinds are so few that what each lies off its own kind's mean is pooled. The modes' outer
    products sum to that covariance, with each mode's level taken out.

    Returns:
        Standard deviation of the level [V]; modes of the form, (m, n). [V]
    """
    pooled = [kind] if kind == "lead_acid" else ["agm", "gel"]
    curves = [published_v(k, soc) for k in pooled]
    free = sum(len(c) - 1 for c in curves)
    further = 1 + 1 / len(PUBLISHED[kind])
    off = np.concatenate([c - c.mean(axis=0) for c in curves]) * np.sqrt(further / (free - 2))
    level = off.mean(axis=1)
    return float(np.sqrt(np.sum(level**2))), off - level[:, None]
