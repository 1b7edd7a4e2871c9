"""Bodies that a load heats and the air cools: how much, how fast, and where it will end.

    dT/dt = (rise · load + slow · load_slow - (T - ambient - offset)) / tau

`load` is 1 at the reference load (for copper: current squared over reference current squared).
`rise` is the settled rise that the load makes here, at once; `slow` is what the same load adds by
warming the place (busbar, box, engine room), through `load_slow`, the load as a slow body feels
it. `offset` is the air here less the ambient given; it wanders about zero. `rise` wanders too:
mostly little, but a joint may come loose. For a given tau and way of wandering the model is
linear, so a small bank of Kalman filters, weighted by how well each foretells the readings, gives
the joint belief. Causal and recursive: memory does not grow. A reading that no such body could
have reached since the last one teaches nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.series import Floats

Bools = npt.NDArray[np.bool_]

TAUS = 7
SLOW_TAU_S = 2400.0  # of the place's own warming
OFFSET_TAU_S = 5400.0  # over which the air's offset forgets itself
TEMP, RISE, OFFSET, SLOW = range(4)
STATES = 4
TEMPER = 0.25  # readings' errors last for several steps, so they count for less than their number
LOOSEN_PER_H, SETTLE_PER_H = 0.02, 0.5  # how often a sound body starts to change, and stops
LEAST_LOG = -12.0
DOUBTED_S = 900.0  # a jump that stays for so long is where the body, or its probe, now is
UNFELT_SD = 0.55  # of what a place has still to add: it may be a stud or a heavy bar


@dataclass(frozen=True)
class HeatPrior:
    """What is believed before the first reading.

    Args:
        rise_k, rise_sd_k: Settled rise at the reference load.
        slow_k, slow_sd_k: What the place adds at the reference load.
        slow_share: What the place adds per kelvin that `rise` lies above its middle, as a hot
            joint warms what it is bolted to.
        rise_walk_k: How far `rise` may wander in an hour while nothing is wrong, one standard
            deviation; `loose_walk_k`: while a joint works loose.
        tau_s: Middle of the time constant's belief; `tau_ln_sd` its spread in the logarithm.
        offset_sd_k: Air at the body less the ambient given, standard deviation at any time.
        count_slow: Whether warming of the place counts as the body's own; not where nobody
            measures the air, as then an engine room cannot be told from a joint.
        noise_k: Reading's noise; `model_k`: what one body misses, per square root of a minute.
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
    slow_share: float = 0.0
    tau_ln_sd: float = 0.6
    offset_sd_k: float = 2.0
    count_slow: bool = True
    noise_k: float = 0.2
    model_k: float = 0.15
    fastest_k_s: float = 2.6


class HeatFilter:
    """The belief about some bodies under one load, kept up to date reading by reading.

    Arrays lead with the axes (bodies, 2, TAUS): which body; wandering little or loosening; tau.
    """

    def __init__(self, priors: tuple[HeatPrior, ...]) -> None:
        self.priors = priors
        z = np.linspace(-1.9, 1.9, TAUS)
        self.tau_s = np.array([p.tau_s * np.exp(z * p.tau_ln_sd) for p in priors])
        start = np.array([[0.97], [0.03]]) * np.exp(-0.5 * z**2)
        self._log_w = np.tile(np.log(start / start.sum()), (len(priors), 1, 1))
        self.started = np.zeros(len(priors), bool)
        self.air_c = np.full(len(priors), np.nan)
        self.load_slow = np.zeros(len(priors))
        self.x = np.zeros((len(priors), 2, TAUS, STATES))
        self.p = np.zeros((len(priors), 2, TAUS, STATES, STATES))
        self._walk = np.zeros((len(priors), 2, 1, STATES, STATES))
        for k, prior in enumerate(priors):
            self._set(k, prior)
        self._noise = np.array([p.noise_k**2 for p in priors])[:, None, None]
        self.count_slow = np.array([p.count_slow for p in priors], float)
        self._lost_k = np.array([p.rise_k + 2 * p.rise_sd_k for p in priors])[:, None]
        self.offset_var = np.array([p.offset_sd_k**2 for p in priors])
        self._fastest_k_s = np.array([p.fastest_k_s for p in priors])
        self.doubted_s = np.zeros(len(priors))  # for how long a probe's readings were doubted

    def _set(self, k: int, prior: HeatPrior) -> None:
        self.x[k, ..., RISE], self.x[k, ..., SLOW] = prior.rise_k, prior.slow_k
        variances = [1.0, prior.rise_sd_k**2, prior.offset_sd_k**2, prior.slow_sd_k**2]
        along = np.array([0.0, 1.0, 0.0, prior.slow_share])
        tied = np.outer(along, along)
        self.p[k] = np.diag(variances) + prior.rise_sd_k**2 * (tied - np.diag([0.0, 1.0, 0.0, 0.0]))
        walk = np.square([prior.rise_walk_k, prior.loose_walk_k]) / 3600.0
        self._walk[k, :, 0] = walk[:, None, None] * tied
        self._walk[k, :, 0, TEMP, TEMP] = prior.model_k**2 / 60.0

    @property
    def weights(self) -> Floats:
        """Probability of each member, shape (bodies, 2, TAUS)."""
        w = np.exp(self._log_w - self._log_w.max(axis=(1, 2), keepdims=True))
        return np.asarray(w / w.sum(axis=(1, 2), keepdims=True))

    def step(self, dt_s: float, load: Floats, temp_c: Floats, ambient_c: Floats) -> None:
        """One step on: the loads over the step, and the temperatures at its end.

        Args:
            load: Means over the step in units of the reference loads, shape (bodies,); NaN: not
                known.
            temp_c: Shape (bodies,); NaN: not measured.
            ambient_c: Shape (bodies,); NaN: the last one holds.
        """
        self.air_c = np.where(np.isfinite(ambient_c), ambient_c, self.air_c)
        fresh = ~self.started & np.isfinite(temp_c)
        if fresh.any():
            self._start(fresh, temp_c)
        if not self.started.any():
            return
        self._mix(dt_s)
        self._predict(dt_s, load)
        self._correct(self._believed(np.where(self.started, temp_c, np.nan), dt_s))

    def _believed(self, temp_c: Floats, dt_s: float) -> Floats:
        """The readings without those that the bodies cannot have reached in a step."""
        expected = (self.weights * self.x[..., TEMP]).sum(axis=(1, 2))
        jumped = np.abs(temp_c - expected) > self._fastest_k_s * dt_s
        self.doubted_s = np.where(jumped, self.doubted_s + dt_s, self.doubted_s)
        self.doubted_s[np.isfinite(temp_c) & ~jumped] = 0.0
        stays = jumped & (self.doubted_s > DOUBTED_S)
        for k in np.flatnonzero(stays).tolist():
            self.x[k, ..., TEMP] = temp_c[k]
            self.p[k, ..., TEMP, :] = self.p[k, ..., :, TEMP] = 0.0
            self.p[k, ..., TEMP, TEMP] = self._noise[k]
            self.doubted_s[k] = 0.0
        return np.where(jumped, np.nan, temp_c)

    def _start(self, fresh: Bools, temp_c: Floats) -> None:
        self.air_c = np.where(fresh & ~np.isfinite(self.air_c), temp_c, self.air_c)
        self.started = self.started | fresh
        self.x[fresh, ..., TEMP] = temp_c[fresh, None, None]
        self.p[fresh, ..., TEMP, TEMP] = self._noise[fresh]

    def _mix(self, dt_s: float) -> None:
        """Members of one tau share what they believe, as a body may change its way any time."""
        leave = 1 - np.exp(-np.array([LOOSEN_PER_H, SETTLE_PER_H]) * dt_s / 3600.0)
        w = np.exp(self._log_w)
        go = w * leave[:, None]
        back = go[:, ::-1]
        after = w - go + back
        share = (back / after)[..., None]  # of each member, come from the other
        apart = self.x[:, ::-1] - self.x
        self.x = self.x + share * apart
        mixed = share * (1 - share) * apart
        between = mixed[..., :, None] * apart[..., None, :]
        self.p = self.p + share[..., None] * (self.p[:, ::-1] - self.p) + between
        self._log_w = np.log(after)

    def _predict(self, dt_s: float, load: Floats) -> None:
        lost = ~np.isfinite(load)
        u = np.where(lost, self.load_slow, load)[:, None]
        self.load_slow += (u[:, 0] - self.load_slow) * (1 - math.exp(-dt_s / SLOW_TAU_S))
        fade = math.exp(-dt_s / OFFSET_TAU_S)
        self.x[..., OFFSET] *= fade
        self.p[..., OFFSET, :] *= fade
        self.p[..., :, OFFSET] *= fade
        self.p[..., OFFSET, OFFSET] += self.offset_var[:, None, None] * (1 - fade * fade)
        keep = np.exp(-dt_s / self.tau_s)
        gain = 1 - keep
        row = np.empty((len(self.priors), 1, TAUS, STATES))
        row[:, 0, :, TEMP], row[:, 0, :, RISE] = keep, gain * u
        row[:, 0, :, OFFSET], row[:, 0, :, SLOW] = gain, gain * self.load_slow[:, None]
        air = np.where(self.started, self.air_c, 0.0)[:, None]
        self.x[..., TEMP] = (row * self.x).sum(axis=-1) + (gain * air)[:, None]
        cross = (row[..., None, :] @ self.p)[..., 0, :]
        own = (cross * row).sum(axis=-1)
        self.p[..., TEMP, :] = cross
        self.p[..., :, TEMP] = cross
        self.p[..., TEMP, TEMP] = own
        self.p += self._walk * dt_s
        if lost.any():
            self.p[..., TEMP, TEMP] += ((gain * self._lost_k * lost[:, None]) ** 2)[:, None]

    def _correct(self, temp_c: Floats) -> None:
        seen = np.isfinite(temp_c)
        if not seen.any():
            return
        ph = self.p[..., :, TEMP]
        s = ph[..., TEMP] + self._noise
        miss = np.where(seen, temp_c, 0.0)[:, None, None] - self.x[..., TEMP]
        k = ph * (seen[:, None, None] / s)[..., None]
        self.x = self.x + k * miss[..., None]
        self.p = self.p - k[..., :, None] * ph[..., None, :]
        cost = 0.5 * TEMPER * (np.log(s) + np.minimum(miss**2 / s, 25.0))
        log_w = self._log_w - cost * seen[:, None, None]
        log_w = np.maximum(log_w - log_w.max(axis=(1, 2), keepdims=True), LEAST_LOG)
        self._log_w = log_w - np.log(np.exp(log_w).sum(axis=(1, 2), keepdims=True))

    def rise(self) -> tuple[Floats, Floats]:
        """What the reference load makes here: mean and standard deviation, shape (bodies,). [K]

        With what it adds by warming the place where `count_slow`, else without.
        """
        x, p, slow = self.x, self.p, self.count_slow[:, None, None]
        means = x[..., RISE] + slow * x[..., SLOW]
        var = p[..., RISE, RISE] + slow * (2 * p[..., RISE, SLOW] + p[..., SLOW, SLOW])
        w = self.weights
        mean = (w * means).sum(axis=(1, 2))
        var = (w * (var + (means - mean[:, None, None]) ** 2)).sum(axis=(1, 2))
        return mean, np.sqrt(np.maximum(var, 0.0))

    def settled(self, body: int, load: float) -> tuple[float, float]:
        """Temperature that a load will end in: mean and standard deviation. [°C]"""
        h = np.array([0.0, load, 1.0, load])
        w = self.weights[body]
        means = self.x[body] @ h
        mean = float((w * means).sum())
        inner = np.einsum("i,mjik,k->mj", h, self.p[body], h)
        var = float((w * (inner + (means - mean) ** 2)).sum())
        var += (UNFELT_SD * self._unfelt_k(body, load)) ** 2
        return float(self.air_c[body]) + mean, math.sqrt(max(var, 0.0))

    def _unfelt_k(self, body: int, load: float) -> float:
        """What the place would add by the share believed, and does not show yet. [K]"""
        rise = float((self.weights[body] * self.x[body][..., RISE]).sum())
        return rise * self.priors[body].slow_share * max(load - float(self.load_slow[body]), 0.0)

    def draws(self, body: int, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Joint draws, each shape (n,): temp_c, rise_k, offset_k, slow_k, tau_s."""
        which = rng.choice(2 * TAUS, size=n, p=self.weights[body].ravel())
        value, vector = np.linalg.eigh(self.p[body].reshape(2 * TAUS, STATES, STATES))
        root = vector * np.sqrt(np.maximum(value, 0.0))[:, None, :]
        z = rng.standard_normal((n, STATES))
        mean = self.x[body].reshape(2 * TAUS, STATES)
        x = mean[which] + np.einsum("nij,nj->ni", root[which], z)
        felt = max(1.0 - float(self.load_slow[body]), 0.0)
        share = self.priors[body].slow_share * UNFELT_SD * felt
        x[:, SLOW] += share * x[:, RISE] * rng.standard_normal(n)
        return {
            "temp_c": x[:, TEMP],
            "rise_k": x[:, RISE],
            "offset_k": x[:, OFFSET],
            "slow_k": x[:, SLOW],
            "tau_s": self.tau_s[body][which % TAUS],
        }


def crossing_s(temp_c: Floats, settled_c: Floats, tau_s: Floats, limit_c: float) -> Floats:
    """When a warming body passes a limit; 0 if it has, infinite if it never will. [s] shape (n,)"""
    out = np.full(temp_c.shape, np.inf)
    will = (settled_c > limit_c) & (temp_c < limit_c)
    ratio = (settled_c[will] - temp_c[will]) / (settled_c[will] - limit_c)
    out[will] = tau_s[will] * np.log(ratio)
    out[temp_c >= limit_c] = 0.0
    return out
