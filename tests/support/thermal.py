"""A textbook bank of filters for warming bodies: one body, member by member, whole matrices.

Written from the model's equations and shares no algebra with `ThermalImm`: the transition is a
matrix exponential, the interaction step the sums over models of Blom and Bar-Shalom (IEEE Trans.
Autom. Control 33 (1988) 780), the measurement update the gain with the covariance in Joseph's
form. Settings (rates, noises) are the program's own, as no source has them.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from analyzer.thermal import filter
from analyzer.thermal.filter import ThermalImm
from analyzer.thermal.prior import HeatPrior, SecondNode
from analyzer.thermal.transition import (
    NEIGHBOUR,
    OFFSET,
    OFFSET_TAU_S,
    PHI,
    RISE,
    SECOND,
    STATES,
    TAUS,
    TEMP,
)

Array = np.ndarray


@dataclass
class Drive:
    """What drives a body over a step: felt load, slow neighbour's load, air. [-], [-], [°C]"""

    felt: float
    slow: float
    air_c: float


def generator(tau_s: float, host_tau_s: float, share: float, drive: Drive) -> Array:
    """Continuous model of the states and a 1, shape (6, 6): d(x, 1)/dt = A (x, 1). [1/s]

    dT/dt = (rise felt + slow load_slow + H - (T - ambient - offset)) / tau
    dH/dt = (share (rise felt + 0.47 slow load_slow) - H) / host_tau
    """
    a = np.zeros((STATES + 1, STATES + 1))
    a[TEMP, [RISE, NEIGHBOUR, SECOND, TEMP, OFFSET, STATES]] = (
        np.array([drive.felt, drive.slow, 1.0, -1.0, 1.0, drive.air_c]) / tau_s
    )
    fed = PHI * drive.slow
    a[SECOND, [RISE, NEIGHBOUR, SECOND]] = (
        np.array([share * drive.felt, share * fed, -1.0]) / host_tau_s
    )
    return a


def transition(
    tau_s: float, host_tau_s: float, share: float, drive: Drive, dt_s: float
) -> tuple[Array, Array]:
    """Discrete F (5, 5) and what the air adds (5,): x(t + dt) = F x(t) + b."""
    whole = expm(generator(tau_s, host_tau_s, share, drive) * dt_s)
    return whole[:STATES, :STATES], whole[:STATES, STATES]


def interaction(mu: Array, chain: Array, x: Array, p: Array) -> tuple[Array, Array, Array]:
    """Interaction step of an IMM filter: weights (m,), means (m, n), covariances (m, n, n).

    c_j = sum_i P_ij mu_i; mu_i|j = P_ij mu_i / c_j; x_j = sum_i mu_i|j x_i;
    P_j = sum_i mu_i|j (P_i + (x_i - x_j)(x_i - x_j)^T).
    """
    after = chain.T @ mu
    means, covs = np.zeros_like(x), np.zeros_like(p)
    for j in range(len(mu)):
        part = chain[:, j] * mu / after[j]
        means[j] = part @ x
        for i in range(len(mu)):
            covs[j] += part[i] * (p[i] + np.outer(x[i] - means[j], x[i] - means[j]))
    return after, means, covs


def condition(mean: Array, cov: Array, h: Array, noise: float, value: float) -> tuple[Array, Array]:
    """Mean and covariance once h x + noise has been read, in Joseph's form."""
    gain = cov @ h / (h @ cov @ h + noise)
    keep = np.eye(len(mean)) - np.outer(gain, h)
    return mean + gain * (value - h @ mean), keep @ cov @ keep.T + noise * np.outer(gain, gain)


class Body:
    """One body's bank from its prior; the axes of x, p and w: (2, members, ...)."""

    def __init__(self, prior: HeatPrior) -> None:
        self.prior = prior
        z = np.linspace(-1.9, 1.9, TAUS)
        pairs = [
            (prior.tau_s * np.exp(v * prior.tau_ln_sd), v, h) for v in z for h in prior.second_nodes
        ]
        self.tau_s = np.array([t for t, *_ in pairs])
        self.second_nodes = [h for *_, h in pairs]
        normal = np.exp([-0.5 * v * v for _, v, _ in pairs])
        by_way = np.array(
            [[h.weight for h in self.second_nodes], [h.weights[1] for h in self.second_nodes]]
        )
        by_way = by_way * normal
        by_way /= by_way.sum(axis=1, keepdims=True)
        first = np.array([1 - filter.LOOSE_AT_FIRST, filter.LOOSE_AT_FIRST])
        self.w = by_way * first[:, None]
        m = len(pairs)
        self.x = np.zeros((2, m, STATES))
        self.p = np.zeros((2, m, STATES, STATES))
        self.worked_s = self.doubted_s = 0.0
        self.loads = {"slow": 0.0, "soon": 0.0, "late": 0.0}
        self._own = np.array([1 / (1 + h.share) for h in self.second_nodes])
        self._fed = np.array([1 / (1 + PHI * h.share) for h in self.second_nodes])

    def start(self, temp_c: float, air_c: float) -> None:
        """The prior, conditioned on the first reading's height above the air.

        above = offset + host + what a still body may lie off; the three are independent.
        """
        q, above = self.prior, temp_c - air_c
        loose_sd = np.hypot(q.rise_sd_k, filter.LOOSE_FRAC * q.loose_walk_k)
        for way, rise_sd in enumerate((q.rise_sd_k, loose_sd)):
            for k, host in enumerate(self.second_nodes):
                host_var = (filter.STORED_FRAC * above) ** 2 + 0.01 if host.share > 0 else 0.0
                mean = np.zeros(STATES)
                mean[RISE], mean[NEIGHBOUR] = q.rise_k * self._own[k], q.neighbour_k * self._fed[k]
                spread = np.zeros(STATES)
                spread[RISE], spread[NEIGHBOUR] = (
                    rise_sd * self._own[k],
                    q.neighbour_sd_k * self._fed[k],
                )
                spread[OFFSET], spread[SECOND] = q.offset_sd_k, np.sqrt(host_var)
                h = np.zeros(STATES)
                h[OFFSET] = h[SECOND] = 1.0
                mean, cov = condition(mean, np.diag(spread**2), h, filter.START_SD_K**2, above)
                mean[TEMP], cov[TEMP, TEMP] = temp_c, q.noise_k**2
                self.x[way, k], self.p[way, k] = mean, cov

    def step(self, dt_s: float, load: float, temp_c: float, air_c: float) -> None:
        """Interaction, prediction, measurement update. NaN: not known, not measured."""
        worked_s = dt_s * (min(max(load, 0.0), 1.0) if np.isfinite(load) else 1.0)
        self.mix(worked_s)
        self.predict(dt_s, load, worked_s, air_c)
        if np.isfinite(temp_c):
            self.read(temp_c)

    def mix(self, worked_s: float) -> None:
        """A sound body may start to loosen and a loosening one settle, by hours of load."""
        self.worked_s += worked_s
        found = filter.FOUND_S[0] < self.worked_s < filter.FOUND_S[1]
        settle = filter.FOUND_PER_H if found else filter.SETTLE_PER_H
        go, back = 1 - np.exp(-np.array([filter.LOOSEN_PER_H, settle]) * worked_s / 3600.0)
        chain = np.array([[1 - go, go], [back, 1 - back]])
        for k in range(len(self.second_nodes)):
            total = self.w[:, k].sum()
            mu, x, p = interaction(self.w[:, k] / total, chain, self.x[:, k], self.p[:, k])
            self.w[:, k], self.x[:, k], self.p[:, k] = total * mu, x, p

    def predict(self, dt_s: float, load: float, worked_s: float, air_c: float) -> None:
        """The offset fades, the rest follows the matrix exponential; then process noise."""
        q, lost = self.prior, not np.isfinite(load)
        u = self.loads["slow"] if lost else load
        for name, tau_s in (
            ("slow", q.neighbour_tau_s),
            ("soon", q.neighbour_fast_tau_s),
            ("late", q.lagged_tau_s),
        ):
            keep = np.exp(-dt_s / tau_s)
            self.loads[name] = keep * self.loads[name] + (1 - keep) * u
        late, slow, soon = (self.loads[n] for n in ("late", "slow", "soon"))
        felt = (1 - q.lagged_frac) * u + q.lagged_frac * late
        drive = Drive(
            felt, (1 - q.neighbour_fast_frac) * slow + q.neighbour_fast_frac * soon, air_c
        )
        fade = np.eye(STATES)
        fade[OFFSET, OFFSET] = np.exp(-dt_s / OFFSET_TAU_S)
        for k, host in enumerate(self.second_nodes):
            f, b = transition(self.tau_s[k], host.tau_s, host.share, drive, dt_s)
            wandered = q.offset_sd_k**2 * (1 - fade[OFFSET, OFFSET] ** 2)
            for way, walk_k in enumerate((q.rise_walk_k, q.loose_walk_k)):
                p = fade @ self.p[way, k] @ fade.T
                p[OFFSET, OFFSET] += wandered
                x = f @ fade @ self.x[way, k] + b
                p = f @ p @ f.T
                p[RISE, RISE] += (walk_k * self._own[k]) ** 2 * worked_s / 3600.0
                above = q.model_frac * (x[TEMP] - air_c)
                p[TEMP, TEMP] += (q.model_k**2 + above**2) * dt_s / 60.0
                if lost:
                    most_k = q.rise_k + 2 * q.rise_sd_k + q.neighbour_k
                    p[TEMP, TEMP] += (most_k * (1 - np.exp(-dt_s / self.tau_s[k]))) ** 2
                self.x[way, k], self.p[way, k] = x, p

    def read(self, temp_c: float) -> None:
        """Conditioning on a reading; weights by the tempered normal density."""
        h, noise = np.eye(STATES)[TEMP], self.prior.noise_k**2
        log_w = np.log(self.w)
        for way in range(2):
            for k in range(len(self.second_nodes)):
                x, p = self.x[way, k], self.p[way, k]
                s = p[TEMP, TEMP] + noise
                off = min((temp_c - x[TEMP]) ** 2 / s, 25.0)
                log_w[way, k] -= filter.LIKELIHOOD_POWER * 0.5 * (np.log(s) + off)
                self.x[way, k], self.p[way, k] = condition(x, p, h, noise, temp_c)
        w = np.exp(np.maximum(log_w - log_w.max(), filter.LEAST_LOG_WEIGHT))
        self.w = w / w.sum()


LUG = HeatPrior(
    rise_k=9.0, rise_sd_k=5.0, rise_walk_k=1.5, loose_walk_k=55.0, tau_s=420.0, neighbour_k=4.0,
    neighbour_sd_k=1.5, neighbour_tau_s=1900.0, neighbour_fast_frac=0.35,
    neighbour_fast_tau_s=170.0, lagged_frac=0.2, lagged_tau_s=900.0, offset_sd_k=2.5,
    second_ln_sd=0.3,
    second_nodes=(SecondNode(1.2, 405.0, 0.05, 1.0), SecondNode(6.2, 3730.0, 1.0, 0.4)),
)  # fmt: skip
BARE = HeatPrior(
    rise_k=20.0, rise_sd_k=8.0, rise_walk_k=1.0, loose_walk_k=15.0, tau_s=900.0, neighbour_k=2.0,
    noise_k=0.3, model_k=0.2, model_frac=0.02, count_neighbour=False,
    second_nodes=(SecondNode(0.0, 2400.0), SecondNode(0.8, 1500.0)),
)  # fmt: skip


def means(body: ThermalImm) -> Array:
    """View of a filter's means, (bodies, 2, members, STATES)."""
    return np.moveaxis(body.mean, 0, -1)


def covs(body: ThermalImm) -> Array:
    """View of a filter's covariances, (bodies, 2, members, STATES, STATES)."""
    return np.moveaxis(body.cov, (0, 1), (-2, -1))


def started(prior: HeatPrior, temp_c: float = 26.0, air_c: float = 20.0) -> ThermalImm:
    """A filter that has taken one reading, and no time."""
    body = ThermalImm((prior,))
    body.step(1e-9, np.zeros(1), np.array([temp_c]), np.array([air_c]))
    return body


def stirred(prior: HeatPrior, seed: int) -> ThermalImm:
    """A started filter whose every member believes something else, with full covariances."""
    rng, body = np.random.default_rng(seed), started(prior)
    root = rng.normal(0, 1, covs(body).shape)
    covs(body)[...] = root @ np.swapaxes(root, -1, -2) + 0.1 * np.eye(STATES)
    means(body)[...] = rng.normal(5, 4, means(body).shape)
    means(body)[..., TEMP] += 20
    return body


def moments(x: Array, p: Array, w: Array) -> tuple[Array, Array]:
    """Mean and covariance of one body's whole mixture."""
    mean = np.einsum("bjm,bjms->s", w, x)
    apart = x - mean
    cov = np.einsum("bjm,bjmst->st", w, p + apart[..., :, None] * apart[..., None, :])
    return mean, cov
