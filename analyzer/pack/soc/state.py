"""The charge filter's posterior as a log can keep it: likely components, and what goes along."""

from base64 import b64decode, b64encode
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import mixture_quantile, tails
from analyzer.pack.curves.doubt import KNOTS
from analyzer.pack.soc.filter import GaussianMixtureFilter
from analyzer.pack.soc.states import CURVE, FAST, GAP, HYST, LN_Q, SHIFT, SLOW, SOC, STATES, WALK

Floats = npt.NDArray[np.float64]

LEAST_KEPT = 1e-4  # weight of a component that is kept, over that of the likeliest; assumed
# A covariance is symmetric: its upper half says all of it, and a log keeps many.
UPPER = np.triu_indices(STATES)


class PackedMixture(NamedTuple):
    """Likely components: weight (m,), mean (m, states), and cov, the upper halves of their
    covariances row by row, (m, states·(states + 1) / 2)."""

    weight: Floats
    mean: Floats
    cov: Floats

    def to_dict(self) -> dict[str, Any]:
        """JSON-able; arrays as text half as long as their numbers, to seven digits."""
        return {
            "weight": self.weight.tolist(),
            "mean": _to_text(self.mean),
            "cov": _to_text(self.cov),
        }

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "PackedMixture":
        """The mixture that `to_dict` gave.

        Raises:
            ValueError: It is one of another version, with other states.
        """
        weight = np.asarray(data["weight"])
        mean = _from_text(data["mean"], len(weight))
        cov = _from_text(data["cov"], len(weight))
        # an older log's states mean something else: it is followed anew from its readings
        if mean.shape[1] != STATES or cov.shape[1] != len(UPPER[0]):
            raise ValueError("a posterior of the pack of another version")
        return cls(weight, mean, cov)


@dataclass(frozen=True)
class PackPosterior:
    """What is known of the pack at one moment, per mean cell; JSON-able, so that a log can keep it.

    Args:
        t_us: On the log's timeline. [µs]
        soc, sd: Mean and standard deviation. [frac]
        v1_v, v2_v: Polarisation voltages of the two pairs. [V]
        hysteresis: -1 to 1.
        offset_a, offset_sd_a: What the shunt reads too much. [A]
        r_factor, r_factor_sd: Resistance over the parameters'.
        slow_factor: The slow pair's resistance over the parameters'.
        capacity_ah, capacity_sd_ah: [Ah]
        temp_c: [°C]
        initial_polarisation_sd_v: What load before the log began may still add. [V]
        drift_sd: What counting alone would have lost since the last anchor; it adds to the
            filter's own doubt. [frac]
        cell: The cell that the factors belong to (`Cell.to_dict`).
        mixture: Of the filter's likely components.
        full_us: When the pack was last seen full, on the log's timeline; None: never yet. [µs]
        sign_reversed: The current comes with the wrong sign and is turned round.
        gap_s: How long nothing was measured, the last time that it was long, where the pack
            was not seen full since; 0 else.
        label: The pack's numbers that all of it rests on (`cell_model.label`).
        emptied: It was drawn down to its label's end, and not charged since.
        load_a: Mean current of its last five minutes. [A]
        recent_ah: Charge drawn of late, faded at the rates of `lead_acid/prior.py`; () elsewhere.
    """

    t_us: int
    soc: float
    sd: float
    v1_v: float
    v2_v: float
    hysteresis: float
    offset_a: float
    offset_sd_a: float
    r_factor: float
    r_factor_sd: float
    slow_factor: float
    capacity_ah: float
    capacity_sd_ah: float
    temp_c: float
    initial_polarisation_sd_v: float
    drift_sd: float
    cell: dict[str, Any]
    mixture: PackedMixture
    full_us: int | None = None
    sign_reversed: bool = False
    gap_s: float = 0.0
    label: str = ""
    recent_ah: tuple[float, ...] = ()
    emptied: bool = False
    load_a: float = 0.0

    def to_dict(self) -> dict[str, Any]:
        """Plain dict of numbers, strings, lists and dicts, as JSON has them."""
        own = {"mixture": self.mixture.to_dict(), "recent_ah": list(self.recent_ah)}
        return {**self.__dict__, **own}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "PackPosterior":
        """The posterior that `to_dict` gave.

        Raises:
            ValueError: It is one of another version, with other states.
        """
        mixture = PackedMixture.from_dict(data["mixture"])
        recent_ah = tuple(data.get("recent_ah", ()))
        return cls(**{**data, "mixture": mixture, "recent_ah": recent_ah})

    def range_frac(self, coverage: float = 0.8) -> tuple[float, float]:
        """The range that holds the charge with this probability. [frac]"""
        below, above = tails(coverage)
        return self.quantile_frac(below), self.quantile_frac(above)

    def quantile_frac(self, share: float) -> float:
        """The charge that it is below with a probability; 0.5: the median. [frac]"""
        weight, mean, cov = self.mixture
        # of the packed halves the first column is the charge's variance
        sd = np.sqrt(cov[:, 0] + self.drift_sd**2)
        return float(mixture_quantile(weight[None], mean[None, :, SOC], sd[None], share)[0])

    def draws(self, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Samples of the mean cell's state, equally likely.

        Returns:
            Arrays of shape (n,): soc, capacity_ah, r0_ohm, r1_ohm, r2_ohm (at 25 °C), tau1_s,
            tau2_s, v1_v, v2_v, hysteresis, ocv_shift_v, temp_c; recent_ah, where it is kept, (r,).
        """
        x = self._sample(n, rng)
        fast = np.exp(x[:, FAST])
        slow = np.exp(x[:, SLOW])
        same = np.ones(n)
        p = self.cell["params"]
        # as in `VoltageModel.predict`: a gap never closes
        gap = np.maximum(1.0 + x[:, GAP], 0.1)
        return {
            "soc": np.clip(x[:, SOC], 0.0, 1.0),
            "capacity_ah": p["capacity_ah"] * np.exp(x[:, LN_Q]),
            "r0_ohm": p["r0_ohm"] * fast,
            "r1_ohm": p["r1_ohm"] * fast,
            "r2_ohm": p["r2_ohm"] * slow,
            "tau1_s": p["tau1_s"] * same,
            "tau2_s": p["tau2_s"] * same,
            # polarisation goes with the resistance that made it
            "v1_v": self.v1_v * fast / self.r_factor,
            "v2_v": self.v2_v * slow / self.slow_factor - x[:, WALK],
            "hysteresis": np.clip(x[:, HYST], -1.0, 1.0) * gap,
            "ocv_shift_v": x[:, SHIFT] + curve_error_v(x[:, SOC], x[:, CURVE:]),
            "temp_c": self.temp_c * same,
            **({"recent_ah": np.array(self.recent_ah)} if self.recent_ah else {}),
        }

    def _sample(self, n: int, rng: np.random.Generator) -> Floats:
        """States drawn from the mixture, what counting lost added, (n, states)."""
        weight, mean, packed = self.mixture
        component = rng.choice(len(weight), size=n, p=weight / weight.sum())
        ridge = np.eye(STATES)  # keeps a covariance of float32 positive
        cov = unpack_covariance(packed) * (1 + 1e-6 * ridge)
        root = np.linalg.cholesky(cov + 1e-12 * ridge)
        normal = rng.standard_normal((n, STATES))
        off = np.einsum("nij,nj->ni", root[component], normal)
        x = np.asarray(mean[component] + off)
        # What counting lost is no part of any component: it comes on top of each.
        x[:, SOC] += self.drift_sd * rng.standard_normal(n)
        return x


def curve_error_v(soc: Floats, at_knots: Floats) -> Floats:
    """Error of the curve at each charge, linear between knots. (n,), (n, knots) to (n,) [V]"""
    place = np.interp(soc, KNOTS, np.arange(len(KNOTS)))
    knot = np.minimum(place.astype(np.int64), len(KNOTS) - 2)
    part = place - knot
    rows = np.arange(len(soc))
    below_v, above_v = at_knots[rows, knot], at_knots[rows, knot + 1]
    return np.asarray(below_v * (1 - part) + above_v * part)


def pack_mixture(mixture: GaussianMixtureFilter) -> PackedMixture:
    """The likely components: of each covariance its upper half."""
    weight = mixture.weights()
    likely = weight > LEAST_KEPT * weight.max()
    # The rest would make the log larger and hardly an answer different; shares sum to 1 again.
    kept = weight[likely]
    cov = mixture.cov[:, :, likely].transpose(2, 0, 1)
    return PackedMixture(kept / kept.sum(), mixture.mean[:, likely].T, cov[:, *UPPER])


def unpack_covariance(halves: Floats) -> Floats:
    """Whole covariances (m, states, states) from their upper halves."""
    whole = np.zeros((len(halves), STATES, STATES))
    whole[:, *UPPER] = halves
    whole[:, UPPER[1], UPPER[0]] = halves
    return whole


def _to_text(values: Floats) -> str:
    """Single precision, base 64."""
    # Seven digits are more than a charge is known to, and half as long in the log.
    single = np.ascontiguousarray(values, dtype="<f4")
    return b64encode(single.tobytes()).decode()


def _from_text(text: str, rows: int) -> Floats:
    """The inverse of `_to_text`, in so many rows."""
    single = np.frombuffer(b64decode(text), dtype="<f4")
    return single.astype(np.float64).reshape(rows, -1)
