"""How long a speed can be held before motor or controller reaches its temperature limit.

Heat goes with the square of the current, so about with that of the power; from there the part
warms as one body, as `thermal/drive.py` follows it. What ends is the speed, not the trip: slower
the boat goes on.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Series
from analyzer.thermal.drive import drive_heat
from logger.boat import Boat

Floats = npt.NDArray[np.float64]

# All assumed: age of a temperature that still says something of now; draws that mean and covariance
# are taken of (5 % of a standard deviation); the fastest that a motor or controller warms.
FRESH_S = 120.0
DRAWS = 400
LEAST_TAU_S = 30.0


@dataclass(frozen=True)
class Warmth:
    """Where a part stands and how it warms.

    part: "motor" or "controller". limit_c, temp_c: its limit and its temperature now.
    mean, cov: Of what it settles at without load [°C], what it settles above that at rated power
    [K] and the time constant's logarithm [s], (3,) and (3, 3): where the load hardly changed the
    first two are known together, not each. rated_w: Rated power.
    """

    part: str
    limit_c: float
    temp_c: float
    mean: tuple[float, ...]
    cov: tuple[tuple[float, ...], ...]
    rated_w: float

    def holds_s(self, power_w: Floats, rng: np.random.Generator) -> Floats:
        """How long each draw can hold each power, (n, k); infinite where for ever. [s]"""
        load = np.square(power_w / self.rated_w)
        values, vectors = np.linalg.eigh(np.asarray(self.cov))
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        drawn = np.asarray(self.mean) + rng.standard_normal((len(power_w), 3)) @ root.T
        air, rise, ln_tau = drawn[:, :1], np.maximum(drawn[:, 1:2], 0.0), drawn[:, 2:]
        tau = np.maximum(np.exp(ln_tau), LEAST_TAU_S)
        settles = air + rise * load
        hot = settles > self.limit_c
        left = np.maximum(settles - self.temp_c, 1e-9)
        with np.errstate(divide="ignore", invalid="ignore"):
            times = tau * np.log(left / (settles - self.limit_c))
        return np.where(hot, np.maximum(times, 0.0), np.inf)


def warmths(series: Series, boat: Boat) -> tuple[Warmth, ...]:
    """The parts whose limit the boat file tells and whose temperature the log's end shows."""
    heat = drive_heat(boat)
    if heat is None:
        return ()
    size = max(round(FRESH_S / series.step_s), 1)
    newest = [(part, series.get(part.channel)[-size:]) for part in heat.parts]
    fresh = [(part, values[np.isfinite(values)]) for part, values in newest]
    if not any(len(values) for _, values in fresh):
        return ()
    heat.update(series)
    found = []
    rng = np.random.default_rng(1)
    for part, last in fresh:
        drawn = heat.samples(part, DRAWS, rng) if len(last) else None
        if drawn is None:
            continue
        air, rise = drawn.air_c + drawn.offset_k, drawn.rise_k + drawn.neighbour_k
        # The body and its second node as one: their time constants by what each has of the rise.
        second_frac = drawn.share / (1 + drawn.share)
        tau = drawn.tau_s + second_frac * drawn.second_tau_s
        body = np.stack([air, rise, np.log(tau)])
        cov = np.cov(body).tolist()
        found.append(
            Warmth(
                part=part.part,
                limit_c=part.limit_c,
                temp_c=float(last[-1]),
                mean=tuple(body.mean(axis=1).tolist()),
                cov=tuple(tuple(row) for row in cov),
                rated_w=boat.motor.rated_power_w,
            )
        )
    return tuple(found)
