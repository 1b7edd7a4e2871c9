"""Bodies that a load heats and the air cools: how much, how fast, and where it will end.

    dT/dt = (rise · felt + slow · load_slow + H - (T - ambient - offset)) / tau
    dH/dt = (share · (rise · felt + FED_FRAC · slow · load_slow) - H) / host_tau

`load` is 1 at the reference load (for copper: current squared over reference current squared).
`rise` is what the load makes in the body; `felt` is the load but for a share that comes late, as
what carries the heat off (a cable's end) must warm first. `slow` is what the same load brings in
from a slow neighbour (the cable's own warmth, an engine room), through `load_slow`, the load as
that neighbour feels it, a part of it sooner. H is how much warmer all this makes the host, what
the body is bolted to (a lug's terminal and busbar), which is slower still and gives it back: what
ten minutes show is not where it will settle. `offset` is the air here less the ambient given; it
wanders about zero. `rise` wanders too: mostly little, but a joint may come loose, while there is
load.

For a given tau, host and way of wandering the model is linear, so a bank of Kalman filters,
weighted by how well each foretells the readings, gives the joint belief. Causal and recursive:
memory does not grow. A reading that no such body could have reached since the last one teaches
nothing.
"""

import math
import operator
from collections.abc import Iterable
from functools import reduce

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import normal_below
from analyzer.series.series import Floats
from analyzer.thermal.heat_prior import HeatPrior

Bools = npt.NDArray[np.bool_]

TAUS = 5
OFFSET_TAU_S = 12 * 3600.0  # of the air's offset: it wanders by about a kelvin an hour
TEMP, RISE, OFFSET, SLOW, HOST = range(5)
STATES = 5
TEMPER = 0.5  # readings' errors last for some steps, so they count for less than their number
LOOSEN_PER_H, SETTLE_PER_H = 0.02, 0.5  # how often a sound body starts to change, and stops
LOOSE_AT_FIRST, LOOSE_FRAC = 0.05, 0.25  # how likely; how far off, of what an hour brings
# What is bad when it is first loaded mostly was so before, and stays as it is: between these times
# at the reference load, by when sound bodies have shown that they are, most are taken for steady.
FOUND_S, FOUND_PER_H = (45.0, 180.0), 60.0
LEAST_LOG = -12.0
DOUBTED_S = 900.0  # a jump that stays for so long is where the body, or its probe, now is
START_SD_K = 0.5  # a body seen first mostly lies still, as warm as its place
STORED_FRAC = 0.5  # of what it then is above the air may be in its host from before
# Of a host's share, for heat that comes through the body and does not arise at the joint, where
# half of it goes to the host straight: by the sums of two bodies (`joints.HOSTS`).
FED_FRAC = 0.47
NEVER_S = 48 * 3600.0


class HeatFilter:
    """The belief about some bodies under one load, kept up to date reading by reading.

    Arrays lead with the axes (bodies, 2, members): which body; wandering little or loosening;
    time constant and host.
    """

    def __init__(self, priors: tuple[HeatPrior, ...]) -> None:
        self.priors = priors
        n, hosts = len(priors), max(len(p.hosts) for p in priors)
        z = np.repeat(np.linspace(-1.9, 1.9, TAUS), hosts)
        self.members = len(z)
        self.tau_s = np.array([p.tau_s * np.exp(z * p.tau_ln_sd) for p in priors])
        each = [[p.hosts[k % len(p.hosts)] for k in range(hosts)] * TAUS for p in priors]
        self.share = np.array([[h.share for h in row] for row in each])
        self.slow_share = FED_FRAC * self.share
        self._host_tau_s = np.array([[h.tau_s for h in row] for row in each])
        weight = np.array([[[h.weight, h.weight_loose] for h in row] for row in each])
        weight = weight.swapaxes(1, 2) * np.exp(-0.5 * z**2)
        loose = np.array([[1 - LOOSE_AT_FIRST], [LOOSE_AT_FIRST]])
        self._log_w = np.log(loose * weight / weight.sum(axis=2, keepdims=True))
        self.started = np.zeros(n, bool)
        self.air_c = np.full(n, np.nan)
        self._worked_s = np.zeros(n)
        self.load_slow = np.zeros(n)
        self.load_soon = np.zeros(n)
        self.load_late = np.zeros(n)
        self._slow_tau_s = np.array([p.slow_tau_s for p in priors])
        self._soon_tau_s = np.array([p.soon_tau_s for p in priors])
        self._soon_frac = np.array([p.soon_frac for p in priors])
        self._late_tau_s = np.array([p.late_tau_s for p in priors])
        self._late_frac = np.array([p.late_frac for p in priors])
        self.x = np.zeros((n, 2, self.members, STATES))
        self.p = np.zeros((n, 2, self.members, STATES, STATES))
        self._walk = np.zeros((n, 2, self.members, STATES, STATES))
        for k, prior in enumerate(priors):
            self._set(k, prior)
        self._model_var = np.array([p.model_k**2 for p in priors])[:, None, None]
        self._missed = np.array([p.model_frac for p in priors])[:, None, None]
        self._noise = np.array([p.noise_k**2 for p in priors])[:, None, None]
        self.count_slow = np.array([p.count_slow for p in priors], float)
        self._lost_k = np.array([p.rise_k + 2 * p.rise_sd_k + p.slow_k for p in priors])
        self._host_ln_sd = np.array([p.host_ln_sd for p in priors])
        self.offset_var = np.array([p.offset_sd_k**2 for p in priors])
        self._fastest_k_s = np.array([p.fastest_k_s for p in priors])
        self.doubted_s = np.zeros(n)  # for how long a probe's readings were doubted

    def _set(self, k: int, prior: HeatPrior) -> None:
        own = 1 / (1 + self.share[k])  # of the settled rise
        fed = 1 / (1 + self.slow_share[k])
        self.x[k, ..., RISE], self.x[k, ..., SLOW] = prior.rise_k * own, prior.slow_k * fed
        self.p[k, ..., OFFSET, OFFSET] = prior.offset_sd_k**2
        self.p[k, ..., SLOW, SLOW] = np.square(prior.slow_sd_k * fed)
        loose_k = LOOSE_FRAC * prior.loose_walk_k
        sd = np.array([prior.rise_sd_k, math.hypot(prior.rise_sd_k, loose_k)])
        self.p[k, ..., RISE, RISE] = np.square(sd[:, None] * own)
        walk = np.square([prior.rise_walk_k, prior.loose_walk_k]) / 3600.0
        self._walk[k, ..., RISE, RISE] = walk[:, None] * np.square(own)

    @property
    def weights(self) -> Floats:
        """Probability of each member, shape (bodies, 2, members)."""
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
        worked_s = dt_s * np.clip(np.where(np.isfinite(load), load, 1.0), 0.0, 1.0)
        self._mix(worked_s)
        self._predict(dt_s, load, worked_s)
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
        """First readings: what they lie off the air is the place's offset, or heat from before."""
        self.air_c = np.where(fresh & ~np.isfinite(self.air_c), temp_c, self.air_c)
        self.started = self.started | fresh
        for k in np.flatnonzero(fresh).tolist():
            x, p, above = self.x[k], self.p[k], float(temp_c[k] - self.air_c[k])
            host_var = np.where(self.share[k] > 0, (STORED_FRAC * above) ** 2 + 0.01, 0.0)
            p[..., HOST, HOST] = host_var
            total = self.offset_var[k] + host_var + START_SD_K**2
            gain = np.stack([self.offset_var[k] / total, host_var / total], axis=-1)
            p[..., OFFSET, OFFSET] = self.offset_var[k] * (1 - gain[..., 0])
            p[..., HOST, HOST] = host_var * (1 - gain[..., 1])
            p[..., OFFSET, HOST] = p[..., HOST, OFFSET] = -gain[..., 0] * host_var
            x[..., OFFSET], x[..., HOST] = gain[..., 0] * above, gain[..., 1] * above
            x[..., TEMP] = temp_c[k]
            p[..., TEMP, TEMP] = self._noise[k]

    def _mix(self, worked_s: Floats) -> None:
        """Members of one tau share what they believe, as a body may change its way any time."""
        self._worked_s += worked_s
        found = (self._worked_s > FOUND_S[0]) & (self._worked_s < FOUND_S[1])
        settle = np.where(found, FOUND_PER_H, SETTLE_PER_H)
        rates = np.stack([np.full(len(settle), LOOSEN_PER_H), settle], axis=-1)
        leave = 1 - np.exp(-rates * worked_s[:, None] / 3600.0)
        w = np.exp(self._log_w)
        go = w * leave[:, :, None]
        back = go[:, ::-1]
        after = w - go + back
        share = (back / after)[..., None]  # of each member, come from the other
        apart = self.x[:, ::-1] - self.x
        self.x = self.x + share * apart
        mixed = share * (1 - share) * apart
        between = mixed[..., :, None] * apart[..., None, :]
        self.p = self.p + share[..., None] * (self.p[:, ::-1] - self.p) + between
        self._log_w = np.log(after)

    def _predict(self, dt_s: float, load: Floats, worked_s: Floats) -> None:
        lost = ~np.isfinite(load)
        u = np.where(lost, self.load_slow, load)
        self.load_late += (u - self.load_late) * (1 - np.exp(-dt_s / self._late_tau_s))
        self.load_soon += (u - self.load_soon) * (1 - np.exp(-dt_s / self._soon_tau_s))
        self.load_slow += (u - self.load_slow) * (1 - np.exp(-dt_s / self._slow_tau_s))
        fade = math.exp(-dt_s / OFFSET_TAU_S)
        self.x[..., OFFSET] *= fade
        self.p[..., OFFSET, :] *= fade
        self.p[..., :, OFFSET] *= fade
        self.p[..., OFFSET, OFFSET] += self.offset_var[:, None, None] * (1 - fade * fade)
        gain = 1 - np.exp(-dt_s / self.tau_s)
        air = np.where(self.started, self.air_c, 0.0)[:, None, None]
        self._carry(*self._rows(dt_s, u, gain), gain[:, None] * air)
        self.p += self._walk * worked_s[:, None, None, None, None]
        missed = self._missed * (self.x[..., TEMP] - air)
        self.p[..., TEMP, TEMP] += (self._model_var + np.square(missed)) * dt_s / 60.0
        if lost.any():
            spread = gain * (self._lost_k * lost)[:, None]
            self.p[..., TEMP, TEMP] += np.square(spread)[:, None]

    def _rows(self, dt_s: float, u: Floats, gain: Floats) -> tuple[Floats, Floats]:
        """How temperature and host come from the state a step ago, (bodies, 1, members, STATES)."""
        keep_host = np.exp(-dt_s / self._host_tau_s)
        apart = self._host_tau_s - self.tau_s
        apart = np.where(np.abs(apart) < 1.0, 1.0, apart)
        # What the body takes over of the host's warmth, and of where that is going.
        from_host = self._host_tau_s * (keep_host - (1 - gain)) / apart
        to_host = gain - from_host
        felt = (u + self._late_frac * (self.load_late - u))[:, None]
        slow = (self.load_slow + self._soon_frac * (self.load_soon - self.load_slow))[:, None]
        temp, host = np.zeros((2, len(self.priors), 1, self.members, STATES))
        temp[:, 0, :, TEMP], temp[:, 0, :, OFFSET] = 1 - gain, gain
        temp[:, 0, :, RISE] = felt * (gain + self.share * to_host)
        temp[:, 0, :, SLOW] = slow * (gain + self.slow_share * to_host)
        temp[:, 0, :, HOST], host[:, 0, :, HOST] = from_host, keep_host
        host[:, 0, :, RISE] = felt * self.share * (1 - keep_host)
        host[:, 0, :, SLOW] = slow * self.slow_share * (1 - keep_host)
        return temp, host

    def _carry(self, temp: Floats, host: Floats, air: Floats) -> None:
        """One step of means and covariances; only temperature and host change by themselves."""
        x, p = self.x, self.p
        fed = (RISE, SLOW, HOST)  # what the host comes from
        warm = _total(temp[..., k] * x[..., k] for k in range(STATES)) + air
        x[..., HOST] = _total(host[..., k] * x[..., k] for k in fed)
        x[..., TEMP] = warm
        cross = _total(temp[..., k, None] * p[..., k, :] for k in range(STATES))
        cross_host = _total(host[..., k, None] * p[..., k, :] for k in fed)
        p[..., TEMP, :] = p[..., :, TEMP] = cross
        p[..., HOST, :] = p[..., :, HOST] = cross_host
        p[..., TEMP, TEMP] = _total(cross[..., k] * temp[..., k] for k in range(STATES))
        p[..., HOST, HOST] = _total(cross_host[..., k] * host[..., k] for k in fed)
        p[..., TEMP, HOST] = p[..., HOST, TEMP] = _total(cross[..., k] * host[..., k] for k in fed)

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

        Settled, the host's warming included; what a slow neighbour brings where `count_slow`.
        """
        means, var = self._rises(slice(None))
        w = self.weights
        mean = (w * means).sum(axis=(1, 2))
        var = (w * (var + (means - mean[:, None, None]) ** 2)).sum(axis=(1, 2))
        return mean, np.sqrt(np.maximum(var, 0.0))

    def _rises(self, which: slice | int) -> tuple[Floats, Floats]:
        """What `rise` gives, by each member: means and variances, (bodies, 2, members)."""
        x, p, share = self.x[which], self.p[which], self.share[which]
        own = (1 + share)[..., None, :]
        slow = (np.asarray(self.count_slow[which])[..., None] * (1 + FED_FRAC * share))[
            ..., None, :
        ]
        means = own * x[..., RISE] + slow * x[..., SLOW]
        var = np.square(own) * p[..., RISE, RISE] + np.square(slow) * p[..., SLOW, SLOW]
        return means, var + 2 * own * slow * p[..., RISE, SLOW]

    def chance(self, body: int, level_k: float) -> float:
        """How likely a body's `rise` is above a level."""
        means, var = self._rises(body)
        w = np.exp(self._log_w[body] - self._log_w[body].max())
        above = normal_below((means - level_k) / np.sqrt(np.maximum(var, 1e-9)))
        return float((w * above).sum() / w.sum())

    def _settles(self, body: int, load: float) -> tuple[Floats, Floats]:
        """Above the air, by each member: mean and variance. Shape (2, members)"""
        h = np.zeros((self.members, STATES))
        h[:, RISE], h[:, SLOW] = load * (1 + self.share[body]), load * (1 + self.slow_share[body])
        h[:, OFFSET] = 1.0
        var = np.einsum("mi,jmik,mk->jm", h, self.p[body], h)
        x, share = self.x[body], self.share[body]
        to_come = load * share * (x[..., RISE] + FED_FRAC * x[..., SLOW]) - x[..., HOST]
        var += np.square(self._host_ln_sd[body] * to_come)
        return (h * x).sum(axis=-1), var

    def settled(self, body: int, load: float) -> tuple[float, float]:
        """Temperature that a load will end in: mean and standard deviation. [°C]"""
        w, (means, inner) = self.weights[body], self._settles(body, load)
        mean = float((w * means).sum())
        var = float((w * (inner + (means - mean) ** 2)).sum())
        return float(self.air_c[body]) + mean, math.sqrt(max(var, 0.0))

    def settled_range(self, body: int, load: float) -> tuple[float, float, float]:
        """Temperature that a load will end in: tenth, half and nine tenths of the belief. [°C]"""
        w, (means, inner) = self.weights[body].ravel(), self._settles(body, load)
        mean, sd = means.ravel(), np.sqrt(np.maximum(inner.ravel(), 1e-6))
        found = [_mixture_quantile(w, mean, sd, q) for q in (0.1, 0.5, 0.9)]
        low, mid, high = (float(self.air_c[body]) + v for v in found)
        return low, mid, high

    def draws(self, body: int, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Joint draws, each shape (n,): temp_c, rise_k (settled), offset_k, slow_k, tau_s."""
        count = 2 * self.members
        which = rng.choice(count, size=n, p=self.weights[body].ravel())
        value, vector = np.linalg.eigh(self.p[body].reshape(count, STATES, STATES))
        root = vector * np.sqrt(np.maximum(value, 0.0))[:, None, :]
        z = rng.standard_normal((n, STATES))
        mean = self.x[body].reshape(count, STATES)
        x = mean[which] + np.einsum("nij,nj->ni", root[which], z)
        member = which % self.members
        share = self.share[body][member]
        return {
            "temp_c": x[:, TEMP],
            "rise_k": x[:, RISE] * (1 + share),
            "share": share,
            "offset_k": x[:, OFFSET],
            "slow_k": x[:, SLOW] * (1 + FED_FRAC * share),
            "host_k": x[:, HOST],
            "tau_s": self.tau_s[body][member],
            "host_tau_s": self._host_tau_s[body][member],
        }


def _total(parts: Iterable[Floats]) -> Floats:
    """Their sum; over so few states it is much cheaper than one over an axis."""
    return reduce(operator.add, parts)


def _mixture_quantile(w: Floats, mean: Floats, sd: Floats, q: float) -> float:
    """Of a mixture of normal distributions, by halving."""
    low, high = float((mean - 6 * sd).min()), float((mean + 6 * sd).max())
    for _ in range(24):
        mid = 0.5 * (low + high)
        share = float(w @ normal_below((mid - mean) / sd))
        low, high = (mid, high) if share < q else (low, mid)
    return 0.5 * (low + high)


def crossing_s(draws: dict[str, Floats], air_c: float, load: float, limit_c: float) -> Floats:
    """When warming bodies pass a limit under a load; 0: they have; infinite: never. [s] (n,)

    Args:
        draws: As `HeatFilter.draws` gives them.
    """
    d, tau, host_tau = draws, draws["tau_s"], draws["host_tau_s"]
    end = air_c + d["offset_k"] + (d["rise_k"] + d["slow_k"]) * load
    fed = FED_FRAC * d["share"]
    host = d["share"] / (1 + d["share"]) * d["rise_k"] + fed / (1 + fed) * d["slow_k"]
    to_go = host * load - d["host_k"]
    apart = np.where(np.abs(host_tau - tau) < 1.0, 1.0, host_tau - tau)
    slow = to_go * host_tau / apart
    fast = end - slow - d["temp_c"]
    low, high = np.zeros(len(end)), np.full(len(end), NEVER_S)
    for _ in range(40):
        mid = 0.5 * (low + high)
        there = end - slow * np.exp(-mid / host_tau) - fast * np.exp(-mid / tau) > limit_c
        low, high = np.where(there, low, mid), np.where(there, mid, high)
    out = np.where((end > limit_c) & (high < NEVER_S), high, np.inf)
    return np.where(d["temp_c"] >= limit_c, 0.0, out)
