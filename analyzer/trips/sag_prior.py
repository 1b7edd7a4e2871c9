"""Prior of the sag fit: from the chemistry, from the published curves, and from earlier trips.

The resistances and the hysteresis gap cannot be below zero, so their logarithms are normal; the
error of the rest curve is normal itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.pack.chemistry import Chemistry
from analyzer.series.series import Floats
from analyzer.trips.sag_design import CIRCUIT, Design, cold_factor

PRIOR_LN_SD = np.array([0.7, 0.7, 0.8, 0.35])  # of R0, R1, R2 and g: a factor of two; assumed
# Of one trip alone: charge, and where the thermometer sits. And of what has changed since all
# earlier trips, which no number of them makes less, as else a pack that has just changed would be
# talked out of it. Both assumed.
TRIP_LN_SD, SINCE_LN_SD = 0.03, 0.03
# Of the rest curve's error as a whole, and from knot to knot: two measured cells against the
# published curve.
CURVE_SD_V, BEND_SD_V = 0.03, 0.004


@dataclass(frozen=True)
class Earlier:
    """An earlier trip's resistances of the mean cell, at that trip's own temperature.

    ohm, ln_sd: Ohmic, of the fast and of the slow pair; standard deviations of their logarithms.
    """

    temp_c: float
    ohm: tuple[float, ...]
    ln_sd: tuple[float, ...]


@dataclass(frozen=True)
class CircuitPrior:
    """Of the logarithms of R0, R1, R2 and g.

    Args:
        log_mean: Of each hypothesis, (f, 4). log_sd: (4,)
        misfit: How far earlier trips and chemistry lie apart, as chi squared, (f,): hypotheses
            about the cold that make trips at different temperatures agree have less of it.
    """

    log_mean: Floats
    log_sd: Floats
    misfit: Floats


def circuit_prior(
    ohms: Floats,
    transfer: Floats,
    earlier: Sequence[Earlier],
) -> CircuitPrior:
    """Chemistry, then conditioned on earlier trips: a product of normal densities.

    A trip i found ln R_i = ln R + d + e_i + ln k(T_i, w); d what has changed since all of them,
    with `SINCE_LN_SD`; e_i its own error, with its `ln_sd` and `TRIP_LN_SD`.

    Args:
        ohms: By the chemistry, R0, R1, R2 and g, (4,).
        transfer: Shares w of charge transfer in R0, R1 and R2 by hypothesis, (f, 3).
    """
    log_ohms = np.log(ohms)
    log_mean = np.tile(log_ohms, (len(transfer), 1))
    if not earlier:
        return CircuitPrior(log_mean, PRIOR_LN_SD, np.zeros(len(transfer)))
    mean, var, among = _of_trips(transfer, earlier)
    # Their mean and the chemistry are two witnesses of the same logarithm.
    own_var = np.square(PRIOR_LN_SD[:3])
    both_var = var + own_var
    log_mean[:, :3] = (mean * own_var + log_ohms[:3] * var) / both_var
    apart = np.square(mean - log_ohms[:3]) / both_var
    log_sd = np.sqrt(var * own_var / both_var)
    return CircuitPrior(
        log_mean=log_mean,
        log_sd=np.append(log_sd, PRIOR_LN_SD[3]),
        misfit=among + apart.sum(axis=1),
    )


def _of_trips(
    transfer: Floats,
    earlier: Sequence[Earlier],
) -> tuple[Floats, Floats, Floats]:
    """Mean of the trips' logarithms at 25 °C, weighted by precision, by hypothesis (f, 3); its
    variance (3,); and chi squared of the trips among themselves, (f,).
    """
    at_25 = np.empty((len(earlier), *transfer.shape))
    var = np.empty((len(earlier), transfer.shape[1]))
    for k, trip in enumerate(earlier):
        at_25[k] = np.log(trip.ohm) - np.log(cold_factor(transfer, trip.temp_c))
        var[k] = np.square(trip.ln_sd) + TRIP_LN_SD**2
    total = (1 / var).sum(axis=0)
    mean = (at_25 / var[:, None]).sum(axis=0) / total
    among = np.square(at_25 - mean) / var[:, None]
    return mean, 1 / total + SINCE_LN_SD**2, among.sum(axis=(0, 2))


def precision_matrix(
    log_sd: Floats,
    bend_sd_v: Floats,
    curve: int,
) -> Floats:
    """Inverse prior covariance over ln R0, ln R1, ln R2, ln g, c and b, (p, p).

    Args:
        bend_sd_v: How far neighbours among b may differ, (knots - 1,).
        curve: Parameters of the curve's error, c included.
    """
    sd = np.append(log_sd, np.full(curve, CURVE_SD_V))
    precision = np.diag(1 / np.square(sd))
    if curve > 2:
        # Rows that take the difference of neighbours: a random walk over the knots.
        knots = np.eye(CIRCUIT + curve)[CIRCUIT + 1 :]
        difference = np.diff(knots, axis=0) / bend_sd_v[:, None]
        precision += difference.T @ difference
    return precision


def bend_sd_v(
    kind: Chemistry,
    soc: Floats,
    design: Design,
) -> Floats:
    """How far the curve's error may change from knot to knot, (knots - 1,). [V]

    More towards empty and full, where the published curves themselves lie apart.
    """
    hats = design.matrix[:, design.constant + 1 :]
    weight = hats.sum(axis=0)
    # The charge at which a knot lies is the mean charge under its hat.
    place = np.nan_to_num(soc) @ hats / np.maximum(weight, 1e-9)
    apart = np.diff(np.interp(place, kind.soc, kind.end_sd_v))
    return np.asarray(np.hypot(BEND_SD_V, apart))
