"""How long a speed can be held before motor or controller reaches its temperature limit.

Heat goes with the square of the current, so about with that of the power; from there the part
warms as one body, as `drive_heat.py` follows it. What ends is the speed, not the trip: slower she
goes on.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.drive_heat import drive_heats
from analyzer.piece import Piece
from analyzer.series import Series
from logger.boat import Boat

Floats = npt.NDArray[np.float64]

FRESH_S = 120.0  # a temperature older than this says nothing of now
DRAWS = 400
LEAST_TAU_S = 30.0


@dataclass(frozen=True)
class Warmth:
    """Where a part stands and how it warms.

    part: "motor" or "controller". limit_c, temp_c: its limit and its temperature now.
    air_c, rise_k: What it settles at without load, and above that at rated power, (mean, sd).
    tau_s: Time constant and its spread as a factor's logarithm. rated_w: Rated power.
    """

    part: str
    limit_c: float
    temp_c: float
    air_c: tuple[float, float]
    rise_k: tuple[float, float]
    tau_s: tuple[float, float]
    rated_w: float

    def holds_s(self, power_w: Floats, rng: np.random.Generator) -> Floats:
        """How long each draw can hold each power, (n, k); infinite where for ever. [s]"""
        n = len(power_w)
        load = np.square(power_w / self.rated_w)
        air = self.air_c[0] + self.air_c[1] * rng.standard_normal((n, 1))
        rise = np.maximum(self.rise_k[0] + self.rise_k[1] * rng.standard_normal((n, 1)), 0.0)
        tau = self.tau_s[0] * np.exp(self.tau_s[1] * rng.standard_normal((n, 1)))
        settles = air + rise * load
        hot = settles > self.limit_c
        left = np.maximum(settles - self.temp_c, 1e-9)
        with np.errstate(divide="ignore", invalid="ignore"):
            times = tau * np.log(left / (settles - self.limit_c))
        return np.where(hot, np.maximum(times, 0.0), np.inf)


def warmths(series: Series, boat: Boat) -> tuple[Warmth, ...]:
    """The parts whose limit the boat file tells and whose temperature the log's end shows."""
    found = []
    rng = np.random.default_rng(1)
    for heat in drive_heats(boat):
        last = series.get(heat.channel)[-max(round(FRESH_S / series.step_s), 1) :]
        last = last[np.isfinite(last)]
        if not len(last):
            continue
        heat.update(Piece(series))
        draws = heat.draws(DRAWS, rng)
        if draws is None:
            continue
        rise, ln_tau = draws["rise_k"] + draws["slow_k"], np.log(draws["tau_s"])
        air = draws["air_c"] + draws["offset_k"]
        found.append(
            Warmth(
                part=heat.part,
                limit_c=heat.limit_c,
                temp_c=float(last[-1]),
                air_c=(float(air.mean()), float(air.std())),
                rise_k=(float(rise.mean()), float(rise.std())),
                tau_s=(max(float(np.exp(ln_tau.mean())), LEAST_TAU_S), float(ln_tau.std())),
                rated_w=boat.motor.rated_power_w,
            )
        )
    return tuple(found)
