"""A limit with persistence and hysteresis: never tripped by one bad reading, no flapping."""

import math

import numpy as np

from analyzer.series.series import Floats

LEAST_READINGS = 3  # one or two may be bad; assumed


class Threshold:
    """Active once every reading of `hold_s` (three at least) was past `trip`; inactive again once
    every reading of `clear_s` was back past `back`.

    Args:
        trip, back: `back` lies on the safe side of `trip`.
        above: Whether high values are the bad ones.
    """

    def __init__(
        self, trip: float, back: float, *, above: bool, hold_s: float, clear_s: float = 60.0
    ) -> None:
        self.sign = 1.0 if above else -1.0
        self.trip, self.back = trip * self.sign, back * self.sign
        self.hold_s, self.clear_s = hold_s, clear_s
        self.active = False
        self.value = math.nan  # the worst since it tripped
        self.last = math.nan  # the newest reading while it is live
        self._since: float | None = None
        self._count = 0

    @property
    def live(self) -> bool:
        """Whether it is active, or on its way to be."""
        return self.active or self._since is not None

    def see(self, t_s: Floats, values: Floats) -> bool:
        """Takes readings in time order; NaN is no reading. Returns whether it is active."""
        signed = values * self.sign
        if not self.active and self._since is None and not np.any(signed > self.trip):
            return False
        for t, v in zip(t_s.tolist(), signed.tolist(), strict=True):
            if v == v:
                self._one(t, v)
        return self.active

    def _one(self, t: float, v: float) -> None:
        self.last = self.sign * v
        turning = v < self.back if self.active else v > self.trip
        if self.active:
            self.value = self.sign * max(self.sign * self.value, v)
        if not turning:
            self._since, self._count = None, 0
            return
        if self._since is None:
            self._since = t
        self._count += 1
        need = self.clear_s if self.active else self.hold_s
        if t - self._since >= need and self._count >= LEAST_READINGS:
            self.active = not self.active
            self._since, self._count = None, 0
            self.value = self.sign * v if self.active else math.nan
