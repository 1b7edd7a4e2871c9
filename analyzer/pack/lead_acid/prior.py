"""What is known of a lead-acid cell's wells before it was measured: fits to makers' tables.

Fourteen tables of seven makers and a library, twelve of them fitted: `tests/field/fit_lead_acid.py`
prints the numbers below. A sample is a class of block that may be aboard.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.lead_acid.wells import (
    LABEL_H,
    LABEL_V,
    TOTAL_PER_K,
    TOTAL_SD_PER_K,
    Wells,
    capacity_factor,
    rate_factor,
    total_for,
)

Floats = npt.NDArray[np.float64]

# Rates at which a log keeps the charge drawn of late (`recent_ah`); they span the samples' k. [1/h]
# Doubling from a tenth of an hour's to eight: assumed.
RATES_PER_H = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
# The coordinates in which classes scatter: ln(c / (1 - c)), ln k [1/h], ln a [V], e [V],
# ln(resistance times capacity) [ohm Ah].
NAMES = ("share", "rate per hour", "concentration V", "activation V", "ohm Ah")


@dataclass(frozen=True)
class Prior:
    """Mean (5,) and covariance (5, 5) of a further class, in the coordinates of `NAMES`."""

    mean: Floats
    cov: Floats


def _prior(share: float, rate: float, cov: tuple[float, float, float]) -> Prior:
    """The last three coordinates are those of the three classes that print powers too."""
    whole = np.diag([cov[0], cov[2], *LAST_VAR])
    whole[0, 1] = whole[1, 0] = cov[1]
    return Prior(np.array([share, rate, *LAST_MEAN]), whole)


# Of the fit to the three classes that print powers: only these tell voltage under load from charge,
# so that all kinds share them.
LAST_MEAN, LAST_VAR = (-2.538, 0.008, -2.113), (0.1912, 0.0004, 0.2186)
# Of the fit to each kind's own tables; flooded classes differ most.
PRIORS = {
    "agm": _prior(-0.129, -0.034, (0.0527, -0.0588, 0.0984)),
    "gel": _prior(-0.167, -0.140, (0.0587, -0.0657, 0.1104)),
    "lead_acid": _prior(-0.344, -0.494, (0.4044, -0.3378, 0.3404)),
}


def from_coordinates(x: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """c, k [1/h], a [V], e [V] and resistance times capacity [ohm Ah] of coordinates (..., 5)."""
    share, rate, spread, activation, ohm_ah = np.moveaxis(np.asarray(x, float), -1, 0)
    return (
        np.asarray(1.0 / (1.0 + np.exp(-share))),
        np.exp(rate),
        np.exp(spread),
        activation,
        np.exp(ohm_ah),
    )


def draw_wells(
    kind: str, capacity_ah: Floats, temp_c: Floats, empty_v: float, rng: np.random.Generator
) -> Wells:
    """Samples of a cell's wells, one per draw of its capacity.

    Args:
        kind: "lead_acid" (flooded), "agm" or "gel".
        capacity_ah: In 20 hours at 25 °C, ageing included, (n,).
        temp_c: Of the cells, (n,).
        empty_v: Rest voltage at 0 % on the discharge branch.
    """
    prior, n = PRIORS[kind], len(capacity_ah)
    x = rng.multivariate_normal(prior.mean, prior.cov, size=n)
    share, rate, spread, activation, ohm_ah = from_coordinates(x)
    # what of the voltage at the label's end is left to the wells
    drop = empty_v - activation - ohm_ah / LABEL_H - LABEL_V
    total = total_for(capacity_ah, share, rate, drop, spread)
    per_k = np.maximum(TOTAL_PER_K + TOTAL_SD_PER_K * rng.standard_normal(n), 0.0)
    cold = np.asarray(temp_c, float)
    return Wells(
        capacity_ah, total * capacity_factor(cold, per_k), share, rate * rate_factor(cold),
        spread, activation,
    )  # fmt: skip


def lag_of(wells: Wells, recent: Floats) -> Floats:
    """The available well's lag of each sample. (n,) [Ah]

    Args:
        recent: Charge drawn of late, faded at `RATES_PER_H`, (r,); empty where nothing is known,
            which counts as a long rest. [Ah]
    """
    if not len(recent):
        return np.zeros_like(wells.share)
    # by the logarithm of the rate, along which the kept ones are evenly spread
    at = np.interp(np.log(wells.rate_per_h), np.log(RATES_PER_H), recent)
    return np.asarray((1.0 - wells.share) * at)
