"""What was true at the moment of the questions, from the simulated outing."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from replay.boatsim.ahead import Reach, reach
from replay.boatsim.outing import Outing
from replay.boatsim.physics.hull import GRAVITY_MPS2
from replay.boatsim.scene import Leg
from tests.boats.homeward import Homecoming, home_from
from tests.boats.random_boat import CELL_V
from tests.breakage.recordings import Recording, Throttle

Bools = npt.NDArray[np.bool_]

HOLE_S = 60.0  # without a reading for longer: known to nobody on board (assumed)
LATELY_S = 10  # the present speed is the mean over this
SETTLED_S = 20.0  # so soon after a change of throttle the headline may still be of before


@dataclass(frozen=True)
class Truth:
    """The truth at step `at`, a multiple of 60.

    Args:
        outing: With the boat file's reserve. unrecorded: Steps in holes of the log, (n,).
    """

    outing: Outing
    at: int
    throttle: Throttle | None = None
    unrecorded: Bools | None = None
    _homes: dict[float, Homecoming] = field(default_factory=dict, init=False, compare=False)

    @property
    def soc_frac(self) -> float:
        """State of charge, the cells' mean."""
        return float(self.outing.soc_frac[self.at])

    @property
    def speed_mps(self) -> float:
        """Through water, lately."""
        return float(self.outing.motion.speed_water_mps[self.at - LATELY_S : self.at + 1].mean())

    @property
    def power_w(self) -> float:
        """From the pack, lately."""
        s = self.outing.series
        lately = slice(self.at - LATELY_S, self.at + 1)
        return float((s["pack_v"][lately] * s["pack_a"][lately]).mean())

    @cached_property
    def leg(self) -> tuple[Leg, int]:
        """The plan's leg and for how many seconds it has been under way."""
        start = 0
        for leg in self.outing.scene.legs:
            end = start + int(leg.duration_s)
            if self.at < end:
                return leg, self.at - start
            start = end
        return self.outing.scene.legs[-1], int(self.outing.scene.legs[-1].duration_s)

    @property
    def motoring(self) -> bool:
        """Under motor alone, long enough on this leg for a headline to be about it."""
        leg, since_s = self.leg
        return leg.doing == "motoring" and since_s >= SETTLED_S

    @property
    def steady(self) -> bool:
        """Two minutes and more of one course and one throttle setting."""
        leg, since_s = self.leg
        return leg.doing == "motoring" and since_s >= 120

    def soc_before(self, ago_s: float) -> float:
        """State of charge some seconds before the questions."""
        return float(self.outing.soc_frac[min(max(self.at - round(ago_s), 0), self.at)])

    def ahead(self, speed_mps: float) -> Reach:
        """How far and how long at a speed through water: mean wind stays, tide and sun go on."""
        return reach(self.outing, self.at, np.array([speed_mps]), goes_on=True)

    def home(self, speed_mps: float) -> Homecoming:
        """How it ends if the boat turns now and motors straight home; worked out once a speed."""
        if speed_mps not in self._homes:
            self._homes[speed_mps] = home_from(self.outing, self.at, speed_mps)
        return self._homes[speed_mps]

    def energy_out_wh(self, covered: Sequence[tuple[float, float]] = ()) -> float:
        """Given by the pack since the recording began, where anything was recorded.

        covered: From when to when trips are said to have lasted, seconds before the questions: a
            hole in one is part of what was used; one that no trip covers is told by none.
        """
        s = self.outing.series
        power = np.maximum((s["pack_v"] * s["pack_a"])[: self.at], 0)
        if self.unrecorded is not None:
            ago_s = self.at - np.arange(self.at)
            told = ~self.unrecorded[: self.at]
            for begin, end in covered:
                told |= (ago_s <= begin) & (ago_s >= end)
            power = power[told]
        return float(power.sum() / 3600)

    @property
    def pack_wh(self) -> float:
        """What a full pack holds, about."""
        capacity = self.outing.boat.true_cells().capacity_ah
        return float(capacity.sum() * CELL_V)

    @property
    def hull_speed_mps(self) -> float:
        """Speed through water that no displacement hull passes: Froude number 0.6 (assumed; the
        resistance hump of heavy hulls lies at 0.5)."""
        return 0.6 * float(np.sqrt(GRAVITY_MPS2 * self.outing.boat.hull.waterline_m))


def truth_of(recording: Recording, at: int, throttle: Throttle | None) -> Truth:
    """The truth for a recording; the reserve is what the boat file asks for, right or not."""
    reserve = reserve_of(recording.boat)
    boat = replace(recording.outing.boat, reserve_frac=reserve)
    return Truth(replace(recording.outing, boat=boat), at, throttle, _unrecorded(recording))


def _unrecorded(recording: Recording) -> Bools:
    """Steps that lie between two readings, of whatever channel, more than `HOLE_S` apart, (n,)."""
    n = recording.outing.n
    times = [said.t_s[~np.isnan(said.value)] for said in recording.readings.values()]
    read_s = np.unique(np.concatenate([np.zeros(1), *times]))
    after = np.clip(np.searchsorted(read_s, np.arange(n), side="right"), 1, len(read_s) - 1)
    return np.asarray(read_s[after] - read_s[after - 1] > HOLE_S)


def reserve_of(boat: dict[str, Any]) -> float:
    """The reserve of a boat file. [frac]"""
    return float(boat["reserve"]["soc_frac"])
