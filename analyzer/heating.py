"""One body that a load heats and the air cools: how much, how fast, and where it will end.

    dT/dt = (rise · load - (T - ambient - offset)) / tau

`load` is 1 at the reference load (for copper: current squared over reference current squared),
so `rise` is the settled rise there. [K] `rise` and `offset` may wander slowly; for a given tau
the model is linear, so a small bank of Kalman filters, one per tau, weighted by how well each
foretells the readings, gives the joint belief. Causal and recursive: memory does not grow.
"""

import math
from dataclasses import dataclass

import numpy as np

from analyzer.series import Floats

BANK = 9  # taus
TEMPER = 0.25  # readings' errors last for several steps, so they count for less than their number


@dataclass(frozen=True)
class HeatPrior:
    """What is believed before the first reading.

    Args:
        rise_k, rise_sd_k: Settled rise at the reference load.
        rise_walk_k: How far it may wander in an hour, one standard deviation.
        tau_s: Middle of the time constant's belief; `tau_ln_sd` its spread in the logarithm.
        offset_sd_k: Air at the probe less the ambient given, standard deviation at the start.
        offset_walk_k: How far that may wander in an hour.
        noise_k: Reading's noise; `model_k`: what one body misses, per square root of a minute.
    """

    rise_k: float
    rise_sd_k: float
    rise_walk_k: float
    tau_s: float
    tau_ln_sd: float = 0.6
    offset_sd_k: float = 2.0
    offset_walk_k: float = 2.0
    noise_k: float = 0.2
    model_k: float = 0.15


class HeatFilter:
    """The belief about one body, kept up to date reading by reading."""

    def __init__(self, prior: HeatPrior) -> None:
        self.prior = prior
        z = np.linspace(-2.0, 2.0, BANK)
        self.tau_s = prior.tau_s * np.exp(z * prior.tau_ln_sd)
        self._log_w = -0.5 * z**2
        self._started = False
        self._air_c = math.nan
        zero = np.zeros(BANK)
        self.temp, self.rise, self.offset = zero, zero + prior.rise_k, zero.copy()
        self._ptt, self._ptr, self._pto = zero + 100.0, zero.copy(), zero.copy()
        self._prr = zero + prior.rise_sd_k**2
        self._pro = zero.copy()
        self._poo = zero + prior.offset_sd_k**2

    @property
    def started(self) -> bool:
        """Whether a temperature has been seen."""
        return self._started

    @property
    def air_c(self) -> float:
        """The ambient last given. [°C]"""
        return self._air_c

    @property
    def weights(self) -> Floats:
        """Probability of each tau, shape (BANK,)."""
        w = np.exp(self._log_w - self._log_w.max())
        return np.asarray(w / w.sum())

    def step(self, dt_s: float, load: float, temp_c: float, ambient_c: float) -> None:
        """One step on: the load over the step, and the temperature at its end.

        Args:
            load: Mean over the step in units of the reference load; NaN: not known.
            temp_c: NaN: not measured. ambient_c: NaN: the last one holds.
        """
        if math.isfinite(ambient_c):
            self._air_c = ambient_c
        if not self._started:
            self._start(temp_c)
            return
        self._predict(dt_s, load)
        if math.isfinite(temp_c):
            self._correct(temp_c)

    def _start(self, temp_c: float) -> None:
        if not math.isfinite(temp_c):
            return
        if not math.isfinite(self._air_c):
            self._air_c = temp_c
        self._started = True
        self.temp = np.full(BANK, temp_c)
        self._ptt = np.full(BANK, self.prior.noise_k**2)

    def _predict(self, dt_s: float, load: float) -> None:
        p = self.prior
        known = math.isfinite(load)
        u = load if known else 0.0
        keep = np.exp(-dt_s / self.tau_s)
        gain = 1 - keep
        self.temp = keep * self.temp + gain * (self.rise * u + self._air_c + self.offset)
        gu = gain * u
        ptt, ptr, pto, prr, pro, poo = (
            self._ptt,
            self._ptr,
            self._pto,
            self._prr,
            self._pro,
            self._poo,
        )
        self._ptr = keep * ptr + gu * prr + gain * pro
        self._pto = keep * pto + gu * pro + gain * poo
        self._ptt = keep * (keep * ptt + gu * ptr + gain * pto) + gu * self._ptr + gain * self._pto
        self._ptt = self._ptt + p.model_k**2 * dt_s / 60.0
        if not known:
            self._ptt = self._ptt + (gain * 2.0 * (p.rise_k + p.rise_sd_k)) ** 2
        self._prr = prr + p.rise_walk_k**2 * dt_s / 3600.0
        self._poo = poo + p.offset_walk_k**2 * dt_s / 3600.0

    def _correct(self, temp_c: float) -> None:
        s = self._ptt + self.prior.noise_k**2
        miss = temp_c - self.temp
        ptt, ptr, pto = self._ptt, self._ptr, self._pto
        kt, kr, ko = ptt / s, ptr / s, pto / s
        self.temp = self.temp + kt * miss
        self.rise = self.rise + kr * miss
        self.offset = self.offset + ko * miss
        self._prr = self._prr - kr * ptr
        self._pro = self._pro - kr * pto
        self._poo = self._poo - ko * pto
        self._ptt, self._ptr, self._pto = ptt * (1 - kt), ptr * (1 - kt), pto * (1 - kt)
        self._log_w = self._log_w - 0.5 * TEMPER * (np.log(s) + np.minimum(miss**2 / s, 25.0))
        self._log_w = np.maximum(self._log_w - self._log_w.max(), -12.0)

    def rise_at(self, load: float) -> tuple[float, float]:
        """Settled rise above the air at the probe under a load: mean and standard deviation. [K]"""
        return self._mixed(self.rise * load, self._prr * load**2)

    def settled(self, load: float) -> tuple[float, float]:
        """Temperature that a load will end in: mean and standard deviation. [°C]"""
        mean = self._air_c + self.offset + self.rise * load
        var = self._poo + 2 * load * self._pro + load**2 * self._prr
        return self._mixed(mean, var)

    def tau(self) -> tuple[float, float]:
        """Time constant: mean and standard deviation. [s]"""
        return self._mixed(self.tau_s, np.zeros(BANK))

    def draws(self, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Joint draws, each shape (n,): temp_c, rise_k, offset_k, tau_s."""
        which = rng.choice(BANK, size=n, p=self.weights)
        prr, poo = np.maximum(self._prr[which], 1e-9), np.maximum(self._poo[which], 0.0)
        z = rng.standard_normal((3, n))
        rise = self.rise[which] + np.sqrt(prr) * z[0]
        slope = self._pro[which] / prr
        rest = np.maximum(poo - slope * self._pro[which], 0.0)
        offset = self.offset[which] + slope * (rise - self.rise[which]) + np.sqrt(rest) * z[1]
        temp = self.temp[which] + np.sqrt(self._ptt[which]) * z[2]
        return {"temp_c": temp, "rise_k": rise, "offset_k": offset, "tau_s": self.tau_s[which]}

    def _mixed(self, means: Floats, variances: Floats) -> tuple[float, float]:
        w = self.weights
        mean = float(w @ means)
        var = float(w @ (variances + (means - mean) ** 2))
        return mean, math.sqrt(max(var, 0.0))


def crossing_s(temp_c: Floats, settled_c: Floats, tau_s: Floats, limit_c: float) -> Floats:
    """When a warming body passes a limit; 0 if it has, infinite if it never will. [s] shape (n,)"""
    out = np.full(temp_c.shape, np.inf)
    will = (settled_c > limit_c) & (temp_c < limit_c)
    ratio = (settled_c[will] - temp_c[will]) / (settled_c[will] - limit_c)
    out[will] = tau_s[will] * np.log(ratio)
    out[temp_c >= limit_c] = 0.0
    return out
