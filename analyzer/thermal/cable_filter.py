"""The heat of all probed cables together: readings gathered into steps, one filter for all.

Air is what `ambient_temp_c` says; where nobody measures it, the coldest of the other probes
stands in for it, and where there is no other probe either, the air is only estimated.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyzer.series.resample import Gatherer, highest
from analyzer.series.series import Floats, Series
from analyzer.thermal import copper, joints, questions
from analyzer.thermal.device import Devices
from analyzer.thermal.filter import STEP_S, ThermalImm
from analyzer.thermal.prior import HeatPrior
from logger.boat import Cable
from logger.channels import probe_temp

WAIT_STEPS = 6  # for an ambient reading before the first temperature is taken; assumed
AIR_OLD_S = 600.0  # an ambient reading older than this is as good as none; assumed
MOST_DT_S = 3600.0  # a longer silence counts as this long: all is settled by then; assumed
BEYOND_AMPACITY = 3.0  # no fuse lets that pass for long; common practice, no source


def believable(cables: tuple[Cable, ...]) -> dict[str, float]:
    """Current beyond which a reading is a meter's slip: three times the largest ampacity that
    carries it, which no fuse would let pass for long. [A] by gathered channel.
    """
    most: dict[str, float] = {}
    for cable in cables:
        name = f"{cable.current_channel}^2"
        most_a = BEYOND_AMPACITY * copper.ampacity_30c_a(cable)
        most[name] = max(most.get(name, 0.0), most_a)
    return most


@dataclass(frozen=True)
class Step:
    """One step of all cables; arrays lead with the cables, NaN where missing.

    heat: The filter as it is after this step, until the next is asked for.
    """

    end_s: float
    dt_s: float
    load: Floats  # mean, in squares of each cable's reference current
    temp_c: Floats
    heat: ThermalImm

    @cached_property
    def rise(self) -> tuple[Floats, Floats]:
        """Settled rise at the reference load, mean and sd, of bodies and then of pairs. [K]"""
        return questions.rise(self.heat)


class CableHeat:
    """Gathers readings and follows every probe's place, and every pair's difference.

    Args:
        pairs: Probed cables, each with its partner or None.
    """

    def __init__(self, pairs: tuple[tuple[Cable, Cable | None], ...]) -> None:
        self.cables = tuple(cable for cable, _ in pairs)
        self.partners = tuple(p if p is not None and p.probe else None for _, p in pairs)
        followed = [c for c in (*self.cables, *self.partners) if c is not None]
        # Each channel once, though a cable may be its own place's and its partner's partner.
        self._probes = list(dict.fromkeys(probe_temp(str(c.probe)) for c in followed))
        self._loads = list(dict.fromkeys(f"{c.current_channel}^2" for c in self.cables))
        # Of a place alone, then of a pair both poles'; a pair without a partner would never start.
        alone = [(c, None) for c in self.cables]
        self._paired = [k for k, partner in enumerate(self.partners) if partner is not None]
        couples = [(self.cables[k], self.partners[k]) for k in self._paired]
        self._devices = Devices([*alone, *couples])
        temps = (*self._probes, *self._devices.names)
        names = ("ambient_temp_c", *self._loads, *temps)
        most = highest(("ambient_temp_c", *temps))
        most |= believable(self.cables)
        self._gather = Gatherer(STEP_S, names, most)
        each = map(joints.joint, self.cables)
        self._ref_a2 = np.square([j.ref_a for j in each])
        self._load_at = [1 + self._loads.index(f"{c.current_channel}^2") for c in self.cables]
        self._temp_at = [self._probe_at(c) for c in self.cables]
        self._other_at = [self._probe_at(c) for c in self.partners if c is not None]
        # A body without a measured device, -1, points at the NaN.
        self._device_at = [names.index(name) if name else -1 for name in self._devices.channels]
        self.heat: ThermalImm | None = None
        self.measured = False
        self._waited = 0
        self._last_s: float | None = None
        self._air_s = -np.inf

    def _probe_at(self, cable: Cable) -> int:
        return 1 + len(self._loads) + self._probes.index(probe_temp(str(cable.probe)))

    def add(self, chunk: Series) -> Iterator[Step]:
        """Takes the next piece of the log; gives each step that it completes."""
        ends, rows = self._gather.add(chunk)
        for end_s, row in zip(ends.tolist(), rows, strict=True):
            step = self._step(end_s, row)
            if step is not None:
                yield step

    def _step(self, end_s: float, row: Floats) -> Step | None:
        last_s = end_s - STEP_S if self._last_s is None else self._last_s
        dt_s = min(end_s - last_s, MOST_DT_S)
        self._last_s = end_s
        temp = row[self._temp_at]
        padded = np.append(row, np.nan)
        other = row[self._other_at]
        air = self._air(end_s, row)
        device_k = self._device(end_s, padded, air)
        if self.heat is None and not self._begin(row, temp):
            return None
        assert self.heat is not None
        load = row[self._load_at] / self._ref_a2
        # Pairs are bodies too, in air of 0 °C: what two poles share cancels in their difference.
        apart_k = temp[self._paired] - other
        both = np.concatenate([temp, apart_k])
        none = np.zeros(len(self._paired))
        around = np.concatenate([air, none])
        loads = self._of_all(load)
        self.heat.step(dt_s, loads, both, around, device_k)
        return Step(end_s, dt_s, load, temp, self.heat)

    def _of_all(self, of_cables: Floats) -> Floats:
        """What the cables have, for them and then for their pairs. (bodies,)"""
        of_pairs = of_cables[self._paired]
        return np.concatenate([of_cables, of_pairs])

    def pair_of(self, place: int) -> int | None:
        """The body that is a cable's difference from its partner; None: it has none."""
        if place not in self._paired:
            return None
        pair = self._paired.index(place)
        return len(self.cables) + pair

    def _air(self, end_s: float, row: Floats) -> Floats:
        """Air at each cable, or what stands in for it, shape (cables,)."""
        if np.isfinite(row[0]):
            self._air_s = end_s
            if not self.measured:
                self._trust(True)
            return np.full(len(self.cables), row[0])
        if self.measured and end_s - self._air_s > AIR_OLD_S:
            self._trust(False)
        if self.measured:
            # A gap of minutes: the last reading is better than another probe.
            return np.full(len(self.cables), np.nan)
        return np.array([self._coldest_other(row, at) for at in self._temp_at])

    def _coldest_other(self, row: Floats, own: int) -> float:
        # A probe cannot be far below the air, and of several the coldest is the least heated.
        first = 1 + len(self._loads)
        end = first + len(self._probes)
        others = np.delete(row[:end], own)[first:]
        others = others[np.isfinite(others)]
        return float(others.min()) if len(others) else np.nan

    def _trust(self, measured: bool) -> None:
        """How far the air is known changes when its sensor comes or goes."""
        self.measured = measured
        if self.heat is None:
            return
        self.heat.revise_air([joints.prior(cable, measured) for cable in self.cables])

    def _begin(self, row: Floats, temp: Floats) -> bool:
        # A filter begun without the air would take the boat's own warmth for the place's offset.
        self._waited += 1
        if not np.isfinite(temp).any():
            return False
        if not self.measured and self._waited < WAIT_STEPS:
            return False
        self.heat = ThermalImm(self._priors())
        return True

    def _priors(self) -> list[HeatPrior]:
        """Of bodies, then of pairs; with what their devices bring."""
        bodies = [joints.prior(c, self.measured) for c in self.cables]
        paired = [self.cables[k] for k in self._paired]
        pairs = map(joints.pair_prior, paired)
        return self._devices.added((*bodies, *pairs))

    def _device(self, end_s: float, padded: Floats, air: Floats) -> Floats:
        """Each body's device above the air, (bodies,); NaN: none, or nobody measures it. [K]

        padded: A row with a NaN behind it.
        """
        device_c = padded[self._device_at]
        around = self._of_all(air)
        changed = self._devices.see(end_s, device_c - around)
        if changed and self.heat is not None:
            self.heat.revise_device(self._priors())
        return self._devices.above_k
