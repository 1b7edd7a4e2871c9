"""Inputs whose readings come late: their changes follow those of a neighbour by too long.

A position two minutes old puts the boat's turns and its throttle beside the wrong speeds, and the
stream that is found from both is wrong for hours.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyzer.environment.stream_bins import heading_true
from analyzer.grounds.delay import LOOKS_S, MOST_S, STEP_S, Signal, newest
from analyzer.series.operating import shaft_rps
from analyzer.series.series import Floats, Series, load
from logger.boat import Boat
from logger.store import Store

# Delays that are no fault, beside the sensors' own steps; assumed.
AT_ONCE_S, MEASURED_S, INERTIA_S = 10.0, 20.0, 40.0
LATE = "after which it comes"
CHANNELS = (
    "pack_voltage_v", "pack_current_a", "controller_current_a", "shaft_speed_rps",
    "motor_speed_rps", "speed_ground_mps", "course_ground_deg", "speed_water_mps",
    "heading_true_deg", "heading_magnetic_deg", "variation_deg",
)  # fmt: skip


@dataclass(frozen=True)
class Pair:
    """Two inputs of which one follows the other.

    Args:
        first, then: Names of signals of `Signals`.
        allowed_s: How long `then` may come after `first`.
        inputs: What is late then, as `decide` names it.
        sign: Of what follows.
        bound: See `delay.newest`. Sails and gusts move a boat without its drive.
    """

    first: str
    then: str
    allowed_s: float
    inputs: tuple[str, ...]
    sign: float = 1.0
    bound: bool = True


GPS = ("speed over ground", "course over ground")
PAIRS = (
    Pair("controller current", "pack current", AT_ONCE_S, ("pack current",)),
    Pair("pack current", "controller current", AT_ONCE_S, ("controller current",)),
    Pair("pack current", "pack voltage", AT_ONCE_S, ("pack voltage",), -1.0),
    Pair("pack voltage", "pack current", AT_ONCE_S, ("pack current",), -1.0),
    Pair("controller current", "shaft speed", MEASURED_S, ("shaft speed",)),
    Pair("shaft speed", "controller current", MEASURED_S, ("controller current",)),
    Pair("heading and the drive", "velocity over ground", INERTIA_S, GPS),
    Pair("course over ground", "heading", MEASURED_S, ("heading",)),
    Pair("drive", "speed over ground", INERTIA_S, GPS, bound=False),
    Pair("drive", "speed through water", INERTIA_S, ("speed through water",), bound=False),
    Pair("speed over ground", "pack's drive", AT_ONCE_S, ("pack current",), bound=False),
)


@dataclass(frozen=True)
class Signals:
    """What the pairs are made of, each in a form in which one goes with the other, (n,)."""

    series: Series
    boat: Boat

    def named(self, name: str) -> Signal:
        """A signal by the name that `Pair` gives it."""
        return getattr(self, name.replace("'", "").replace(" ", "_"))  # type: ignore[no-any-return]

    @cached_property
    def pack_current(self) -> Floats:
        """[A]"""
        return self.series.get("pack_current_a")

    @cached_property
    def pack_voltage(self) -> Floats:
        """[V]"""
        return self.series.get("pack_voltage_v")

    @cached_property
    def controller_current(self) -> Floats:
        """[A]"""
        return self.series.get("controller_current_a")

    @cached_property
    def shaft_speed(self) -> Floats:
        """[1/s]"""
        return np.abs(shaft_rps(self.series, self.boat))

    @cached_property
    def drive(self) -> Floats:
        """Goes with the speed: revolutions, else the cube root of a current."""
        for known in (self.shaft_speed, self.controller_current, self.pack_current):
            if np.isfinite(known).any():
                return known if known is self.shaft_speed else np.cbrt(known)
        return self.pack_current

    @cached_property
    def packs_drive(self) -> Floats:
        """Goes with the speed, which no thrust follows. [A^(1/3)]"""
        return np.cbrt(self.pack_current)

    @cached_property
    def heading(self) -> Signal:
        """Unit vectors of the bow."""
        return _toward(heading_true(self.series))

    @cached_property
    def course_over_ground(self) -> Signal:
        """Unit vectors of the way over ground."""
        return _toward(self.series.get("course_ground_deg"))

    @cached_property
    def speed_over_ground(self) -> Floats:
        """[m/s]"""
        return self.series.get("speed_ground_mps")

    @cached_property
    def speed_through_water(self) -> Floats:
        """[m/s]"""
        return self.series.get("speed_water_mps")

    @cached_property
    def velocity_over_ground(self) -> Signal:
        """Is the velocity through water and the stream, which changes slowly. [m/s]"""
        return self.speed_over_ground * self.course_over_ground

    @cached_property
    def heading_and_the_drive(self) -> Signal:
        """Goes with the velocity through water."""
        return self.heading * self.drive


def _toward(degrees: Floats) -> Signal:
    """North and east as real and imaginary part. (n,)"""
    return np.asarray(np.exp(1j * np.radians(degrees)))


def recently_late(store: Store, boat: Boat, end_us: int) -> Iterator[tuple[str, str]]:
    """The same of a log, at a time on its timeline. [µs]"""
    start_us = end_us - round((max(LOOKS_S) + MOST_S) * 1e6)
    return late(load(store, CHANNELS, start_us, end_us, STEP_S), boat)


def late(
    series: Series, boat: Boat, asked: tuple[str, ...] | None = None
) -> Iterator[tuple[str, str]]:
    """Inputs whose readings come late, and what they come after.

    Args:
        series: `CHANNELS` as far as they are there, on steps of `STEP_S`, of the longest of
            `LOOKS_S` and `MOST_S` before it.
        asked: Only about these inputs; None: about all.
    """
    signals = Signals(series, boat)
    for pair in PAIRS:
        if asked is not None and not set(asked) & set(pair.inputs):
            continue
        first, then = signals.named(pair.first), pair.sign * signals.named(pair.then)
        found = newest(first, then, series.step_s, pair.allowed_s, pair.bound)
        if found is not None and found.late:
            for name in pair.inputs:
                yield name, f"the {pair.first}, {LATE} {found.delay_s:.0f} s late"
