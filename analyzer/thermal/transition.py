"""A body that a load heats and the air cools, and what it is bolted to: a two-node heat balance.

    tau1 dT/dt = r u + g v + H + c d - (T - T_air - o)
    tau2 dH/dt = k (r u + PHI g v) + s u - H

    T      temperature of the body [°C]
    r      rise that the reference load makes in the body itself [K]
    o      air at the body less the ambient given [K]
    g      rise that the reference load brings in from a slow neighbour [K]
    H      warmth of the second node, as a rise of the body [K]
    u, v   the load as body and neighbour feel it; 1 at the reference load (for copper: current
           squared over reference current squared)
    c, d   share of a device's warmth that comes to the body, and that warmth above the air [K];
           where nobody measures it: s, the rise that the reference load brings from there [K]
    k      share of the second node: what it adds to the settled rise, over what the body makes
    tau1, tau2   time constants of body and second node [s]

The state is x = (T, r, o, g, H), with c or s as the sixth where a body is on a device. For given
loads the model is linear, so that the transition matrix is its Jacobian too. r follows a random
walk, o one that returns to zero.

Source: lumped heat balances, one capacity and one conductance a node; the discrete form is their
exact solution for loads and air that are constant over a step.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.series.series import Floats
from analyzer.thermal.prior import HeatPrior, SecondNode, column, per_member

TEMP, RISE, OFFSET, NEIGHBOUR, SECOND, DEVICE = range(6)
STATES = SECOND + 1  # of bodies that are on no device
MOVING = slice(TEMP, SECOND + 1, SECOND - TEMP)  # the two states that the heat balance changes
LOADED = slice(RISE, NEIGHBOUR + 1, NEIGHBOUR - RISE)  # the two that change them by a load

TAUS = 5  # time constants of the bank; assumed to be enough
TAU_REACH_SD = 1.9  # they stand evenly this far out, on 94 % of the prior; assumed
# A joint gives half of its heat to the second node straight, a cable all of it through the body:
# the node's share of that is smaller by this. By the two-body sums of `joints.py`; assumed for all.
PHI = 0.47
OFFSET_TAU_S = 12 * 3600.0  # of the air's offset, which then wanders a kelvin an hour; assumed
EQUAL_TAU_S = 1.0  # time constants nearer than this count as this far apart; assumed


def _repeated(nodes: tuple[SecondNode, ...], count: int) -> list[tuple[float, ...]]:
    """Time constant, share and weights of so many second nodes, for each time constant."""
    rows: list[tuple[float, ...]] = []
    for k in range(count):
        node = nodes[k % len(nodes)]
        rows.append((node.tau_s, node.share, *node.weights))
    return rows * TAUS


def apart_s(tau_s: Floats, second_tau_s: Floats) -> Floats:
    """tau2 - tau1, never zero: the solution has a limit where they meet, its quotient does not."""
    apart = second_tau_s - tau_s
    return np.where(np.abs(apart) < EQUAL_TAU_S, EQUAL_TAU_S, apart)


@dataclass(frozen=True)
class Network:
    """Constants of the bank's models, (bodies, 1, members); a member is a time constant and a node.

    weight: Prior probability of each member by hypothesis, (bodies, 2, members).
    """

    tau_s: Floats
    second_tau_s: Floats
    share: Floats
    weight: Floats

    @classmethod
    def of(cls, priors: Sequence[HeatPrior]) -> "Network":
        """Every time constant with every second node; a prior with fewer nodes repeats them."""
        count = max(len(p.second_nodes) for p in priors)
        table = np.array([_repeated(p.second_nodes, count) for p in priors])
        second_tau_s, share, sound, loose = np.moveaxis(table, 2, 0)[:, :, None]
        z = np.repeat(np.linspace(-TAU_REACH_SD, TAU_REACH_SD, TAUS), count)
        stretch = np.exp(z * column(priors, "tau_ln_sd"))
        # With the normal density of each time constant.
        weight = np.hstack([sound, loose]) * np.exp(-0.5 * z**2)
        return cls(
            tau_s=column(priors, "tau_s") * stretch,
            second_tau_s=second_tau_s,
            share=share,
            weight=weight / weight.sum(axis=2, keepdims=True),
        )

    def decay(self, dt_s: float) -> "Decay":
        """The exact solution's factors over a step.

        e1 = exp(-dt / tau1); e2 = exp(-dt / tau2);
        from_second = tau2 (e2 - e1) / (tau2 - tau1), what is left in T of an H at the start.
        """
        kept = np.exp(-dt_s / self.tau_s)
        kept_second = np.exp(-dt_s / self.second_tau_s)
        crossed = (kept_second - kept) / apart_s(self.tau_s, self.second_tau_s)
        from_second = self.second_tau_s * crossed
        gain, second_gain = 1 - kept, 1 - kept_second
        to_second = gain - from_second
        through = PHI * self.share
        warm, second = still = np.zeros((2, STATES, *self.tau_s.shape))
        warm[TEMP] = kept
        warm[OFFSET] = gain
        warm[SECOND] = from_second
        second[SECOND] = kept_second
        by_load = np.array(
            [
                [gain + self.share * to_second, gain + through * to_second],
                [self.share * second_gain, through * second_gain],
            ]
        )
        return Decay(dt_s, gain, to_second, second_gain, still, by_load)

    def moving_rows(self, decay: "Decay", own_load: Floats, neighbour_load: Floats) -> Floats:
        """Rows of the transition matrix for T and H; those of r, o and g are the identity's.

            T+ = e1 T + (1 - e1) (T_air + o + q) + a H + (1 - e1 - a) k q2,   a = from_second
            H+ = e2 H + (1 - e2) k q2,   q = r u + g v,   q2 = r u + PHI g v

        Args:
            own_load, neighbour_load: u and v, (bodies,).
        Returns:
            (2, STATES, bodies, 1, members); what the air adds to T+ is `decay.gain` T_air.
        """
        rows = decay.still.copy()
        loads = per_member(np.stack([own_load, neighbour_load]))
        rows[:, LOADED] = decay.by_load * loads
        return rows

    def device_rows(self, decay: "Decay", own_load: Floats, device_k: Floats) -> Floats:
        """What the device's state adds to T and H, (2, bodies, 1, members).

        A device that is measured warms the body straight, another one through the second node.

        Args:
            own_load: u. device_k: Warmth of the device above the air, NaN: not measured. (bodies,)
        """
        u = per_member(own_load)
        above_k = per_member(device_k)
        measured = np.isfinite(above_k)
        straight = decay.gain * above_k
        warm = np.where(measured, straight, u * decay.to_second)
        second = np.where(measured, 0.0, u * decay.second_gain)
        return np.stack([warm, second])


@dataclass(frozen=True)
class Decay:
    """Factors of a step, alike for all steps of a length. Arrays (bodies, 1, members).

    gain: 1 - e1. to_second: 1 - e1 - from_second. second_gain: 1 - e2.
    still: `moving_rows` without a load, (2, STATES, ...). by_load: What u and v add to them in the
    columns `LOADED`, (2, 2, ...).
    """

    dt_s: float
    gain: Floats
    to_second: Floats
    second_gain: Floats
    still: Floats
    by_load: Floats


class LaggedLoads:
    """The loads that body and neighbour feel: first-order low-pass filters of the load, and shares.

    u = (1 - lagged_frac) load + lagged_frac lowpass(load, lagged_tau)
    v = (1 - fast_frac) lowpass(load, neighbour_tau) + fast_frac lowpass(load, fast_tau)
    """

    def __init__(self, priors: Sequence[HeatPrior]) -> None:
        names = ("neighbour_tau_s", "neighbour_fast_tau_s", "lagged_tau_s")
        self._tau_s = np.array([column(priors, name).ravel() for name in names])
        self._lagged_frac = column(priors, "lagged_frac").ravel()
        self._fast_frac = column(priors, "neighbour_fast_frac").ravel()
        self._value = np.zeros(self._tau_s.shape)
        self._dt_s, self._gain = 0.0, np.zeros(self._tau_s.shape)

    def advance(self, dt_s: float, load: Floats) -> tuple[Floats, Floats]:
        """Takes a step's mean load (bodies,); gives u and v at its end.

        Where the load is not known (NaN) the slow neighbour's stands in for it: the likeliest.
        """
        load = np.where(np.isfinite(load), load, self._value[0])
        if dt_s != self._dt_s:  # most steps are of one length
            self._dt_s, self._gain = dt_s, 1 - np.exp(-dt_s / self._tau_s)
        self._value += (load - self._value) * self._gain
        slow, fast, lagged = self._value
        own_load = load + self._lagged_frac * (lagged - load)
        neighbour_load = slow + self._fast_frac * (fast - slow)
        return own_load, neighbour_load


class ProcessNoise:
    """Variances that a step adds; arrays for (bodies, 2, members), the axis of 2: hypotheses."""

    def __init__(self, priors: Sequence[HeatPrior], own_frac: Floats) -> None:
        sound_k = column(priors, "rise_walk_k")
        loose_k = column(priors, "loose_walk_k")
        walk_k = np.hstack([sound_k, loose_k]) * own_frac
        self._walk_k2_s = np.square(walk_k) / 3600.0
        self._model_k2_s = np.square(column(priors, "model_k")) / 60.0
        self._model_frac2_s = np.square(column(priors, "model_frac")) / 60.0
        # What the reference load may make at most: two standard deviations over the prior's mean.
        most_k = column(priors, "rise_k") + 2 * column(priors, "rise_sd_k")
        self._unknown_k = most_k + column(priors, "neighbour_k")
        self.offset_k2 = np.square(column(priors, "offset_sd_k"))

    def rise_k2(self, loaded_s: Floats) -> Floats:
        """Random walk of r, which goes on under load only: a joint does not loosen at rest."""
        return self._walk_k2_s * per_member(loaded_s)

    def temp_k2(self, dt_s: float, above_air_k: Floats) -> Floats:
        """What the two nodes leave out, more of it in a warm body."""
        by_warmth = self._model_frac2_s * np.square(above_air_k)
        return (self._model_k2_s + by_warmth) * dt_s

    def unknown_load_k2(self, decay: Decay, lost: Floats) -> Floats:
        """Where the load is not known (lost: 1): it may have been any up to the reference."""
        return np.square(decay.gain * self._unknown_k * per_member(lost))
