"""How capacity and resistance change from trip to trip, from the states of charge that were kept.

Capacity is only seen between two sure charges (full, knee, long rest); on the flat part of the
curve nothing is learned of it, and a state whose capacity is no surer than at the start is
left out. Resistance is seen whenever the load changes; it is compared at 25 °C. How a pack takes
the cold is known only roughly, so that the doubt of it stands beside age in the same fit: trips
that were colder the later they were do not look like ageing.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import cannot_say
from analyzer.pack.capacity import YEAR_S, Trend, trend
from analyzer.pack.cell_model import Cell
from analyzer.pack.chemistry import GAS_J_PER_MOL_K, REFERENCE_C
from analyzer.pack.soc import PackPosterior
from analyzer.pack.soc.noise import FAST_ENERGY_SD_J
from logger.units import ZERO_C_IN_K

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

FRESH_SHARE = 0.7  # of the first doubt: a surer capacity than this was learned; assumed
SURE = 0.9  # of a trend before it is told; assumed
FEWEST = 4  # values that a line with an error needs: two more than it has numbers; assumed
# Of the capacity seen, a kelvin below 25 °C: lithium cells give 0.3 to 1 % less, from memory.
CAPACITY_SD_PER_K = 0.005
MONTH_S = YEAR_S / 12  # by definition


@dataclass(frozen=True)
class Ageing:
    """Trends of capacity and resistance, and what there is to say. Sentences for people.

    capacity_rows, resistance_rows: As seen, brought to 25 °C by what the history tells of the
    temperature. [Ah], [frac]
    """

    capacity: Trend
    resistance: Trend
    remarks: tuple[str, ...]
    capacity_rows: "tuple[At25, ...]" = ()
    resistance_rows: "tuple[At25, ...]" = ()


@dataclass(frozen=True)
class At25:
    """A value at one time, as it would be at 25 °C, with its standard deviation."""

    t_us: float
    value: float
    sd: float


def ageing(states: list[PackPosterior]) -> Ageing:
    """Trends over the states that a log has kept, in time order."""
    cells = [Cell.from_dict(s.cell) for s in states]
    first_sd = np.array([cell.capacity_sd * cell.params.capacity_ah for cell in cells])
    ah_sd = np.array([s.capacity_sd_ah for s in states])
    # a capacity that is no surer than at first repeats the prior, which does not age
    learned = ah_sd < FRESH_SHARE * first_sd if len(states) else np.zeros(0, bool)
    kelvin = np.array([s.temp_c for s in states]) - REFERENCE_C
    ah = _History(
        name="Capacity",
        way=-1,
        t_us=np.array([float(s.t_us) for s in states])[learned],
        values=np.array([s.capacity_ah for s in states])[learned],
        sd=ah_sd[learned],
        warmth=(CAPACITY_SD_PER_K * kelvin)[learned],
    )
    # every trip with a motor run shows the resistance anew
    inverse = 1 / (kelvin + REFERENCE_C + ZERO_C_IN_K) - 1 / (REFERENCE_C + ZERO_C_IN_K)
    ohm = _History(
        name="Resistance",
        way=1,
        t_us=np.array([float(s.t_us) for s in states]),
        values=np.array([s.r_factor for s in states]),
        sd=np.array([s.r_factor_sd for s in states]),
        warmth=FAST_ENERGY_SD_J / GAS_J_PER_MOL_K * inverse,
    )
    remarks = [r for history in (ah, ohm) if (r := history.remark()) is not None]
    if states and not learned.any():
        remarks.insert(
            0,
            "The capacity has not shown yet: on the flat part of the curve it cannot; a full "
            "charge, then a stretch below about 15 %, would show it.",
        )
    return Ageing(ah.trend(), ohm.trend(), tuple(remarks), ah.at_25(), ohm.at_25())


@dataclass(frozen=True)
class _History:
    """Something learned trip by trip, (n,) each; `way` is ageing's, `warmth` as in `trend`."""

    name: str
    way: int
    t_us: Floats
    values: Floats
    sd: Floats
    warmth: Floats

    def trend(self, *, with_warmth: bool = True) -> Trend:
        """Its change with time."""
        if len(self.values) < FEWEST:
            return Trend(cannot_say("fewer than four trips have shown it", "frac"), 0.5)
        warmth = self.warmth if with_warmth else None
        return trend(self.t_us, self.values, self.sd, self.way, warmth=warmth)

    def at_25(self) -> tuple[At25, ...]:
        """The values without what the temperature explains, y - mean·c·x; its doubt stays."""
        effect, effect_sd = self.trend().warmth
        mean = float(np.mean(self.values)) if len(self.values) else 0.0
        per_effect = mean * self.warmth
        values = self.values - effect * per_effect
        sd = np.hypot(self.sd, effect_sd * per_effect)
        return tuple(
            At25(*row) for row in zip(*(a.tolist() for a in (self.t_us, values, sd)), strict=True)
        )

    def remark(self) -> str | None:
        """What there is to say of it; None: nothing yet."""
        found = self.trend()
        if found.sureness_frac > SURE:
            return self._changed(found)
        # Without a word of temperature it would have been told: say why it is not.
        if self.trend(with_warmth=False).sureness_frac > SURE:
            return (
                f"{self.name} differs between the trips, but so does their temperature: "
                f"{len(self.values)} trips cannot tell age from cold yet. Trips at like "
                "temperatures would."
            )
        return None

    def _changed(self, found: Trend) -> str:
        year = found.per_year.mid or 0.0
        sure = found.sureness_frac
        said = "over 99 %" if sure > 0.99 else f"{100 * sure:.0f} %"
        months = float(np.ptp(self.t_us)) / 1e6 / MONTH_S
        return (
            f"{self.name} {'rises' if self.way > 0 else 'falls'} by about {100 * abs(year):.0f} % "
            f"a year (sure to {said}, from {len(self.values)} trips over {months:.0f} months)."
        )
