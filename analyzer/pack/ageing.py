"""How capacity and resistance change from trip to trip, from the states of charge that were kept.

Capacity is only seen between two sure charges (full, knee, long rest); on the flat part of the
curve nothing is learned of it, and a state whose capacity is no surer than at the start is
left out. Resistance is seen whenever the load changes; it is compared at 25 °C.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import cannot_say
from analyzer.pack.capacity import Trend, trend
from analyzer.pack.soc import PackPosterior

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

FRESH_SHARE = 0.7  # of the first doubt: a surer capacity than this was learned; assumed
SURE = 0.9  # of a trend before it is told; assumed
FEWEST = 4  # values that a line with an error needs: two more than it has numbers; assumed


@dataclass(frozen=True)
class Ageing:
    """Trends of capacity and resistance, and what there is to say. Sentences for people."""

    capacity: Trend
    resistance: Trend
    remarks: tuple[str, ...]


def ageing(states: list[PackPosterior]) -> Ageing:
    """Trends over the states that a log has kept, in time order."""
    t_us = np.array([float(s.t_us) for s in states])
    ah = np.array([s.capacity_ah for s in states])
    ah_sd = np.array([s.capacity_sd_ah for s in states])
    factor = np.array([s.r_factor for s in states])
    factor_sd = np.array([s.r_factor_sd for s in states])
    first_sd = np.array([s.cell["capacity_sd"] * s.cell["params"]["capacity_ah"] for s in states])
    # a capacity that is no surer than at first repeats the prior, which does not age
    learned = ah_sd < FRESH_SHARE * first_sd if len(states) else np.zeros(0, bool)
    capacity = _of(t_us, ah, ah_sd, learned, -1)
    # every trip with a motor run shows the resistance anew
    resistance = _of(t_us, factor, factor_sd, np.ones(len(states), bool), 1)
    return Ageing(capacity, resistance, _remarks(states, learned, capacity, resistance))


def _of(t_us: Floats, values: Floats, sd: Floats, use: Mask, way: int) -> Trend:
    if use.sum() < FEWEST:
        return Trend(cannot_say("fewer than four trips have shown it", "frac"), 0.5)
    return trend(t_us[use], values[use], sd[use], way)


def _remarks(
    states: list[PackPosterior], learned: Mask, capacity: Trend, resistance: Trend
) -> tuple[str, ...]:
    remarks = []
    if states and not learned.any():
        remarks.append(
            "The capacity has not shown yet: on the flat part of the curve it cannot; a full "
            "charge, then a stretch below about 15 %, would show it."
        )
    for trend_of, name, way in (
        (capacity, "Capacity", "falls"),
        (resistance, "Resistance", "rises"),
    ):
        year = trend_of.per_year
        if year.mid is not None and trend_of.sureness_frac > SURE:
            remarks.append(
                f"{name} {way} by about {100 * abs(year.mid):.0f} % a year "
                f"(sure to {100 * trend_of.sureness_frac:.0f} %)."
            )
    return tuple(remarks)
