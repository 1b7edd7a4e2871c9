"""The bottom cleaned: the power that the growth found so far costs."""

from dataclasses import dataclass

import numpy as np

from analyzer.range.monte_carlo import ReachInput
from analyzer.range.sample import Sample
from analyzer.range.what_if.changes import own_rng, with_power

MOST_LOSS = 0.6  # of the speed: more is no growth; keeps logarithms finite, assumed


@dataclass(frozen=True)
class CleanBottom:
    """The power at each speed without the speed lost.

    At the same power speed is (1 + loss) times what it was, so that with power going as speed to
    the p the clean boat takes (1 + loss)^p of it at the same speed, p the curve's own slope.

    Args:
        loss, sd: Of the speed at the same power; negative is slower (ISO 19030). [frac]
    """

    loss: float
    sd: float

    def __call__(self, given: ReachInput, drawn: Sample) -> Sample:
        """The draws with a clean bottom; cleaning costs no speed."""
        normal = own_rng(given, 7).standard_normal(len(drawn.draws.aside))
        loss = np.clip(self.loss + self.sd * normal, -MOST_LOSS, 0.0)
        slope = np.maximum(given.curve.slope(given.curve.speed_mps), 1.0)
        return with_power(given, drawn, np.log1p(loss)[:, None] * slope)
