"""A day's water, wind, sky and loads as long lines of noise, of which outings take stretches.

So a boat that is run on from any moment meets the same day as its record does, and other futures
from the same moment on can be drawn. Wind: log-normal about its mean with a memory of hours,
direction that wanders and veers (memories assumed). Stream: tidal ellipse (`place.Stream`) with
eddies. Waves' share of the resistance grows with the wind's square (assumed). Sun: `place.Sky`
under a cloud cover N that wanders, G = G_clear (1 - 0.75 N^3.4) (F. Kasten, G. Czeplak, Solar
Energy 24 (1980) 177).
"""

import copy
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import SimBoat
from replay.boatsim.motion import Weather
from replay.boatsim.outing import FRIDGE_CYCLE_S, FRIDGE_ON_FRAC
from replay.boatsim.physics.place import Sky, Stream, Wind, wander

Floats = npt.NDArray[np.float64]
Rng = np.random.Generator

STEP_S = 2.0
LONG_S = 20 * 3600.0
MEMORY_S = {
    "wind": 5 * 3600.0, "blow": 3 * 3600.0, "gust": 25.0, "squall": 400.0, "sea": 12.0,
    "east": 1200.0, "north": 1200.0, "sails": 60.0, "yaw": 6.0, "cloud": 3600.0, "puff": 240.0,
    "load": 600.0,
}  # fmt: skip


@dataclass(frozen=True)
class Climate:
    """What a day is drawn from.

    Args:
        wind_spread, blow_deg: Sizes of the slow wander of wind speed (of its logarithm) and
            direction. wave_per_v2: waves' share of the calm resistance over the wind's square.
        cloud: Mean of the cover's normal variate; 0: half covered. load_w: random part of the load.
    """

    stream: Stream
    wind: Wind
    sky: Sky
    wind_spread: float = 0.22
    blow_deg: float = 12.0
    wave_per_v2: float = 0.0012
    cloud: float = 0.0
    load_w: float = 15.0


@dataclass
class Day:
    """One day, at `STEP_S` for `LONG_S`. noise: lines of unit spread, shape (n,) each."""

    boat: SimBoat
    climate: Climate
    noise: dict[str, Floats]
    late_s: float
    lines: dict[str, Floats] = field(default_factory=dict)

    @staticmethod
    def drawn(boat: SimBoat, climate: Climate, rng: Rng) -> "Day":
        """A day of that climate."""
        n = int(LONG_S / STEP_S)
        noise = {name: wander(rng, n, STEP_S, tau) for name, tau in MEMORY_S.items()}
        day = Day(boat, climate, noise, float(rng.uniform(0, FRIDGE_CYCLE_S)))
        day._work_out()
        return day

    def otherwise(self, at: int, rng: Rng) -> "Day":
        """The same day up to step `at`, another one from there on; tide and sun run on."""
        other = copy.copy(self)
        other.noise = {}
        for name, line in self.noise.items():
            rest = wander(rng, len(line) - at, STEP_S, MEMORY_S[name], float(line[at - 1]))
            other.noise[name] = np.concatenate([line[:at], rest])
        other._work_out()
        return other

    def _work_out(self) -> None:
        c, z = self.climate, self.noise
        t: Floats = np.arange(len(z["wind"]), dtype=float) * STEP_S
        east, north = c.stream.at(t)
        mean = c.wind.speed_mps * np.exp(c.wind_spread * z["wind"])
        gust = 1 + c.wind.gust_frac * z["gust"] + 0.5 * c.wind.gust_frac * z["squall"]
        rough = np.minimum(c.wave_per_v2 * mean**2, 0.25)
        cover = 0.5 * (1 + np.tanh(0.8 * (c.cloud + z["cloud"])))
        sun = c.sky.sun_frac(t) * (1 - 0.75 * cover**3.4) * (1 - 0.1 * np.abs(z["puff"]))
        cold = (t + self.late_s) % FRIDGE_CYCLE_S < FRIDGE_ON_FRAC * FRIDGE_CYCLE_S
        load = self.boat.hotel_w + self.boat.pilot_w + self.boat.fridge_w * cold
        load = load + c.load_w * np.abs(z["load"])
        self.lines = {
            "east": east + c.stream.eddy_mps * z["east"],
            "north": north + c.stream.eddy_mps * z["north"],
            "gust": np.maximum(mean * gust, 0.0),
            "sea": rough * np.maximum(1 + 0.4 * z["sea"], 0.0),
            "sails": 1 + 0.07 * z["sails"],
            "yaw": 1.6 * z["yaw"],
            "blow_deg": c.wind.from_deg + c.wind.veer_deg_h * t / 3600 + c.blow_deg * z["blow"],
            "mean": mean,
            "rough": rough,
            "solar_w": self.boat.solar_peak_w * c.sky.clear_frac * np.maximum(sun, 0.0),
            "hotel_w": np.maximum(load, 5.0),
        }

    def weather(self, at: int, count: int, every: int = 1) -> Weather:
        """What the motion needs, for `count` steps of `every` * `STEP_S` from step `at` on."""
        names = ("east", "north", "gust", "sea", "sails", "yaw", "blow_deg")
        return Weather(*(self._stretch(n, at, count, every).tolist() for n in names))

    def loads(self, at: int, count: int, every: int = 1) -> dict[str, Floats]:
        """Power of everything but motor and shore. [W] shape (count,) each"""
        return {n: self._stretch(n, at, count, every) for n in ("hotel_w", "solar_w")}

    def wind(self, at: int) -> Wind:
        """The mean wind about a step."""
        blow, speed = self.lines["blow_deg"][at], self.lines["mean"][at]
        return Wind(float(speed), float(blow), self.climate.wind.gust_frac)

    def rough(self, at: int) -> float:
        """Waves' share about a step."""
        return float(self.lines["rough"][at])

    def _stretch(self, name: str, at: int, count: int, every: int) -> Floats:
        line = self.lines[name][at : at + count * every : every]
        if len(line) < count:
            line = np.concatenate([line, np.full(count - len(line), self.lines[name][-1])])
        return line
