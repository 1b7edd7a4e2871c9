"""When a place that a load warms is warmer than a healthy one: one way of judging it.

A place is held against two levels: what its readings have shown it with before, and what the prior
allowed before there were any. Rises are at the reference load, excesses at the load they are judged
at, since it is there that the published limits were set.
"""

import math
from dataclasses import dataclass

# A probable fault from 4 K above a like part under like load, from 11 K above what air tells alone
# (published: NETA table 100.18). Like is the other pole, and the place itself as it was before.
EXCESS_K, EXCESS_ALONE_K = 5.0, 11.0
SURE, HOLD_S = 0.98, 60.0  # probability of a fault, and for how long, before it is told; assumed
KNOWN_FRAC = 0.5  # of the first doubt: below it a rise is known by its readings; assumed
AS_BEFORE = 1.2  # a place within a fifth of what it was is as before; assumed


@dataclass
class Verdict:
    """One way of judging, and how long it has held.

    Args:
        most_k: Rise that a healthy place never passes on this view.
        alone_k: Excess that counts while only the prior tells what is healthy.
        rise_k: As it is now. base_k: Lowest that readings have shown.
        first_k, first_sd_k: What the prior allowed, and its doubt.
        sure: Probability that the rise is above the level; held_s: for how long it was `SURE`.
    """

    most_k: float
    alone_k: float = EXCESS_K
    rise_k: float = 0.0
    base_k: float = math.inf
    first_k: float = math.inf
    first_sd_k: float = math.inf
    sure: float = 0.0
    held_s: float = 0.0

    def level_k(self, rise_k: float, sd_k: float, load: float) -> float:
        """Takes a fresh rise, and the load to judge it at; gives the least rise that is a fault.

        The upper end of a rise counts as shown, so that the lowest of many is not the luckiest.
        """
        self.rise_k = rise_k
        upper_k = max(rise_k, 0.0) + sd_k
        if math.isinf(self.first_k):
            self.first_k, self.first_sd_k = AS_BEFORE * upper_k, sd_k
        if sd_k < KNOWN_FRAC * self.first_sd_k:
            self.base_k = min(self.base_k, upper_k)
        shown_k = min(self.most_k, AS_BEFORE * self.base_k)
        return min(shown_k + EXCESS_K / load, self.first_k + self.alone_k / load)

    def judge(self, sure: float, dt_s: float) -> None:
        """Takes how likely the rise is above that level; 0 where it most likely is not."""
        self.sure = sure
        self.held_s = self.held_s + dt_s if sure >= SURE else 0.0

    @property
    def faulty(self) -> bool:
        """Whether it has been sure for long enough."""
        return self.held_s >= HOLD_S
