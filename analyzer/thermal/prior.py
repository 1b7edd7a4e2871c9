"""What is known of a body's heating before the first reading; the model is in `transition.py`."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.series.series import Floats

SLOW_TAU_S = 2400.0  # of a place that warms by itself, where nothing better is known (assumed)


@dataclass(frozen=True)
class SecondNode:
    """What a body may be bolted to: the second node of the network.

    Args:
        share: What it adds to the settled rise, over what the load makes in the body.
        tau_s: Time constant.
        weight: Prior probability among the others, not normalised; `loose_weight`: the same for a
            body whose joint is loosening, None: no different.
    """

    share: float
    tau_s: float
    weight: float = 1.0
    loose_weight: float | None = None

    @property
    def weights(self) -> tuple[float, float]:
        """Of a sound body, and of one that is loosening."""
        # A bad joint makes its heat elsewhere than a sound one, so that its second node is another.
        loose = self.weight if self.loose_weight is None else self.loose_weight
        return self.weight, loose


NO_SECOND_NODE = (SecondNode(0.0, SLOW_TAU_S),)


@dataclass(frozen=True)
class HeatPrior:
    """Prior of one body, normal distributions unless said otherwise.

    Args:
        rise_k, rise_sd_k: Settled rise at the reference load, the second node's warming included.
        rise_walk_k: Random walk of that in an hour at the reference load while nothing is wrong,
            one standard deviation; `loose_walk_k`: while a joint works loose.
        tau_s, tau_ln_sd: Time constant, lognormal.
        neighbour_k, neighbour_sd_k, neighbour_tau_s: Settled rise that the load brings through a
            slow neighbour (the cable's own warmth, an engine room), and how slow that is;
            `neighbour_fast_frac` of it comes with `neighbour_fast_tau_s` instead.
        count_neighbour: Whether that counts as the body's own rise; not where nobody measures the
            air, as then an engine room cannot be told from a cable.
        device, device_sd: What a device that the body is bolted to brings of its own: settled rise
            at the reference load [K] or, where the device is measured, its share of what that is
            above the air [K/K]. Both zero: there is none.
        lagged_frac, lagged_tau_s: Share of the body's own heat that a low-pass filter delays.
        second_nodes: What the body may be bolted to; each stands for those around it, up to
            half-way to the next, and `second_ln_sd` for how far their warmth may differ.
        offset_sd_k: Air at the body less the ambient given, at any time.
        noise_k: Of a reading.
        model_k, model_frac: Process noise of the temperature in a minute: in any case, and by
            what the body is warmer than the air.
        fastest_k_s: No such body warms or cools faster. [K/s] For a lug: 100 W, an arcing joint,
            into 100 g of copper.
    """

    rise_k: float
    rise_sd_k: float
    rise_walk_k: float
    loose_walk_k: float
    tau_s: float
    tau_ln_sd: float = 0.6
    neighbour_k: float = 0.0
    neighbour_sd_k: float = 1.0
    neighbour_tau_s: float = SLOW_TAU_S
    neighbour_fast_frac: float = 0.0
    neighbour_fast_tau_s: float = SLOW_TAU_S
    count_neighbour: bool = True
    device: float = 0.0
    device_sd: float = 0.0
    lagged_frac: float = 0.0
    lagged_tau_s: float = SLOW_TAU_S
    second_nodes: tuple[SecondNode, ...] = NO_SECOND_NODE
    second_ln_sd: float = 0.0
    offset_sd_k: float = 2.0
    noise_k: float = 0.1
    model_k: float = 0.05
    model_frac: float = 0.03
    fastest_k_s: float = 2.6


def per_member(values: Floats) -> Floats:
    """Values of bodies (..., bodies), to stand beside arrays (..., bodies, 2, members)."""
    return values[..., None, None]


def column(priors: Sequence[HeatPrior], name: str) -> Floats:
    """One field of all priors, (bodies, 1, 1)."""
    return per_member(np.array([getattr(prior, name) for prior in priors], float))
