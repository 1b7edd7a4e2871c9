"""Where a pack stands, as a log can keep it: the bank's likely guesses and what goes with them."""

from base64 import b64decode, b64encode
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.estimation.quantiles import mixture_quantile, tails
from analyzer.pack.chemistry import KNOTS
from analyzer.pack.soc_filter import (
    CURVE,
    FAST,
    GAP,
    HYST,
    LN_Q,
    SHIFT,
    SLOW,
    SOC,
    STATES,
    WANDER,
    Guesses,
)

Floats = npt.NDArray[np.float64]

LEAST_KEPT = 1e-4  # weight of a guess that is kept, over that of the likeliest


@dataclass(frozen=True)
class ChargeState:
    """Where the pack stands, per mean cell; JSON-able, so that a log can keep it.

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
        unsettled_v: What load before the log began may still add to the voltage. [V]
        drift_sd: What counting alone would have lost since the last anchor; it adds to the
            filter's own doubt. [frac]
        cell: The cell that the factors belong to (`Cell.to_dict`).
        bank: Of the likely guesses: weight (m,), mean (m, states), and cov, the upper halves of
            their covariances row by row (m, states (states + 1) / 2).
        full_us: When the pack was last seen full, on the log's timeline; None: never yet. [µs]
        turned: The current comes with the wrong sign and is turned round.
        unseen_s: How long nothing was measured, the last time that it was long, where the pack
            was not seen full since; 0 else.
        label: The pack's numbers that all of it rests on (`pack.label`).
        recent_ah: Charge drawn of late, faded at the rates of `lead_acid_prior`; () elsewhere.
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
    unsettled_v: float
    drift_sd: float
    cell: dict[str, Any]
    bank: dict[str, Floats]
    full_us: int | None = None
    turned: bool = False
    unseen_s: float = 0.0
    label: str = ""
    recent_ah: tuple[float, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain dict of numbers, strings and dicts; the bank's arrays packed into text."""
        weight, mean, cov = (self.bank[k] for k in ("weight", "mean", "cov"))
        bank = {"weight": weight.tolist(), "mean": _packed(mean), "cov": _packed(cov)}
        return {**self.__dict__, "bank": bank}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "ChargeState":
        """The state that `to_dict` gave.

        Raises:
            ValueError: It is one of another version, with other guesses.
        """
        packed = data["bank"]
        weight = np.asarray(packed["weight"])
        mean, cov = (_unpacked(packed[k], len(weight)) for k in ("mean", "cov"))
        if mean.shape[1] != STATES or cov.shape[1] != STATES * (STATES + 1) // 2:
            raise ValueError("a state of charge of another version")
        own = {"bank": {"weight": weight, "mean": mean, "cov": cov}}
        return cls(**{**data, **own, "recent_ah": tuple(data.get("recent_ah", ()))})

    def range_frac(self, coverage: float = 0.8) -> tuple[float, float]:
        """The range that holds the charge with this probability. [frac]"""
        weight, mean, sd = (np.array([a]) for a in self._charges())
        low, high = (mixture_quantile(weight, mean, sd, q) for q in tails(coverage))
        return float(low[0]), float(high[0])

    def _charges(self) -> tuple[Floats, Floats, Floats]:
        weight, mean, cov = (self.bank[k] for k in ("weight", "mean", "cov"))
        return weight, mean[:, SOC], np.sqrt(cov[:, 0] + self.drift_sd**2)

    def draws(self, n: int, rng: np.random.Generator) -> dict[str, Floats]:
        """Equally likely states of the mean cell.

        Returns:
            Arrays of shape (n,): soc, capacity_ah, r0_ohm, r1_ohm, r2_ohm (at 25 °C), tau1_s,
            tau2_s, v1_v, v2_v, hysteresis, ocv_shift_v, temp_c; recent_ah, where it is kept, (r,).
        """
        weight, mean = self.bank["weight"], self.bank["mean"]
        cov = unfolded(self.bank["cov"])
        pick = rng.choice(len(weight), size=n, p=weight / weight.sum())
        root = np.linalg.cholesky(cov * (1 + 1e-6 * np.eye(STATES)) + 1e-12 * np.eye(STATES))
        x = mean[pick] + np.einsum("nij,nj->ni", root[pick], rng.standard_normal((n, STATES)))
        x[:, SOC] += self.drift_sd * rng.standard_normal(n)
        fast, slow, same = np.exp(x[:, FAST]), np.exp(x[:, SLOW]), np.ones(n)
        p = self.cell["params"]
        return {
            "soc": np.clip(x[:, SOC], 0.0, 1.0),
            "capacity_ah": p["capacity_ah"] * np.exp(x[:, LN_Q]),
            "r0_ohm": p["r0_ohm"] * fast,
            "r1_ohm": p["r1_ohm"] * fast,
            "r2_ohm": p["r2_ohm"] * slow,
            "tau1_s": p["tau1_s"] * same,
            "tau2_s": p["tau2_s"] * same,
            "v1_v": self.v1_v * fast / self.r_factor,
            "v2_v": self.v2_v * slow / self.slow_factor - x[:, WANDER],
            "hysteresis": np.clip(x[:, HYST], -1.0, 1.0) * np.maximum(1.0 + x[:, GAP], 0.1),
            "ocv_shift_v": x[:, SHIFT] + curve_error_v(x[:, SOC], x[:, CURVE:]),
            "temp_c": self.temp_c * same,
            **({"recent_ah": np.array(self.recent_ah)} if self.recent_ah else {}),
        }


def curve_error_v(soc: Floats, at_knots: Floats) -> Floats:
    """What the curve is off by at each charge; shapes (n,) and (n, knots) to (n,). [V]"""
    place = np.interp(soc, KNOTS, np.arange(len(KNOTS)))
    knot = np.minimum(place.astype(np.int64), len(KNOTS) - 2)
    part, rows = place - knot, np.arange(len(soc))
    return np.asarray(at_knots[rows, knot] * (1 - part) + at_knots[rows, knot + 1] * part)


def kept(bank: Guesses) -> dict[str, Floats]:
    """The likely guesses: of each covariance its upper half."""
    weight = bank.weights()
    likely = weight > LEAST_KEPT * weight.max()
    upper = np.triu_indices(STATES)
    cov = bank.p[:, :, likely].transpose(2, 0, 1)[:, *upper]
    return {
        "weight": weight[likely] / weight[likely].sum(),
        "mean": bank.x[:, likely].T,
        "cov": cov,
    }


def unfolded(halves: Floats) -> Floats:
    """Whole covariances (m, states, states) from what `kept` made of them."""
    whole = np.zeros((len(halves), STATES, STATES))
    upper = np.triu_indices(STATES)
    whole[:, *upper] = halves
    whole[:, upper[1], upper[0]] = halves
    return whole


def _packed(values: Floats) -> str:
    """Text half as long as its numbers written out, to seven digits."""
    return b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()


def _unpacked(text: str, rows: int) -> Floats:
    """The inverse, in so many rows."""
    return np.frombuffer(b64decode(text), dtype="<f4").astype(np.float64).reshape(rows, -1)
