"""What is believed about a body's heating before the first reading. See `heating.py`."""

from dataclasses import dataclass

SLOW_TAU_S = 2400.0  # of a place's own warming, where no other is told


@dataclass(frozen=True)
class Host:
    """What a body may be bolted to.

    Args:
        share: What the host adds to the settled rise, over what the load makes in the body.
        tau_s: Time constant of the host.
        weight: How likely this host is among others; `loose_weight`: of a body that is loosening,
            None: the same.
    """

    share: float
    tau_s: float
    weight: float = 1.0
    loose_weight: float | None = None

    @property
    def weight_loose(self) -> float:
        """The weight among hosts of a body that is loosening."""
        return self.weight if self.loose_weight is None else self.loose_weight


NO_HOST = (Host(0.0, SLOW_TAU_S),)


@dataclass(frozen=True)
class HeatPrior:
    """What is believed before the first reading.

    Args:
        rise_k, rise_sd_k: Settled rise at the reference load, the host's warming included.
        slow_k, slow_sd_k: What a slow neighbour adds, settled; `slow_tau_s`: how slow it is.
        soon_frac, soon_tau_s: Share of that which comes sooner, and how soon.
        hosts: What it may be bolted to; each stands for those around it, up to half-way to the
            next, and `host_ln_sd` for how far their warmth may differ, in the logarithm.
        rise_walk_k: How far the settled rise may wander in an hour of load while nothing is
            wrong, one standard deviation; `loose_walk_k`: while a joint works loose.
        tau_s: Middle of the time constant's belief; `tau_ln_sd` its spread in the logarithm.
        offset_sd_k: Air at the body less the ambient given, standard deviation at any time.
        late_frac, late_tau_s: Share of the heat that is felt late, and how late.
        count_slow: Whether what the neighbour brings counts as the body's own; not where nobody
            measures the air, as then an engine room cannot be told from a cable.
        noise_k: Reading's noise. model_k, model_frac: What the model misses, per square root of a
            minute: in any case, and of what the body is warmer than the air.
        fastest_k_s: No such body warms or cools faster. [K/s] For a lug: 100 W, an arcing joint,
            into 100 g of copper.
    """

    rise_k: float
    rise_sd_k: float
    rise_walk_k: float
    loose_walk_k: float
    tau_s: float
    slow_k: float = 0.0
    slow_sd_k: float = 1.0
    slow_tau_s: float = SLOW_TAU_S
    soon_frac: float = 0.0
    soon_tau_s: float = SLOW_TAU_S
    tau_ln_sd: float = 0.6
    offset_sd_k: float = 2.0
    count_slow: bool = True
    noise_k: float = 0.1
    model_k: float = 0.05
    model_frac: float = 0.03
    fastest_k_s: float = 2.6
    late_frac: float = 0.0
    late_tau_s: float = SLOW_TAU_S
    hosts: tuple[Host, ...] = NO_HOST
    host_ln_sd: float = 0.0
