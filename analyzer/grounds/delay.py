"""By how much one signal comes after another that drives it, and how sure that is.

A signal x that drives y, at once or through a first-order lag of the boat's own (inertia, a
filter), gives

    y(t) = a + c·t + b·(h_tau * x)(t - L) + e(t)

with h_tau the first-order lag of time constant tau [s], L the delay [s], b a gain that is complex
for velocities (a compass may be turned) and e an error that stays alike from step to step. L and
tau are found by least squares over a grid. A delay is believed where it explains the changes so
much better than any that the two may have that the likelihood ratio passes 1/alpha for every
delay tried: a likelihood ratio has mean 1 where the denominator is true, so by Markov's
inequality and the sum over what was tried it does so by chance in less than alpha of all
questions. That wants independent errors: they are made so by their own correlation from step to
step (generalised least squares of Cochrane and Orcutt 1949).
"""

from dataclasses import dataclass
from math import log
from typing import Any

import numpy as np
import numpy.typing as npt

from analyzer.series.series import Bools, Floats, Ints

Signal = npt.NDArray[Any]  # real, or complex: north and east

STEP_S = 5.0  # of the grid: shorter than any delay that matters; assumed
MOST_S = 240.0  # longest delay looked for (assumed)
LOOKS_S = (900.0, 3600.0)  # the shortest stretch that can tell decides (assumed)
TAUS_S = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)  # of a boat's speed after its thrust; assumed
PAIRS_MOST = 12  # of inputs held against each other at one question; by definition, `late.PAIRS`
ALPHA = 1e-4  # chance of a false alarm at one question; assumed
LEAST = 1e-12  # by definition: a sum of squares that is none
ROUNDING = 1e-9  # by definition: no signal explains another better than floating point lets it
EXPLAINED = 0.5  # of the changes at the least: the later signal tells the same (assumed)


@dataclass(frozen=True)
class Delay:
    """By how much one signal comes after another.

    Args:
        delay_s: The likeliest.
        evidence: Logarithm of its likelihood ratio to the best delay that is no fault; below 0
            where one of those is the likeliest.
        explained: Share of the later signal's changes that the earlier one explains.
    """

    delay_s: float
    evidence: float
    explained: float

    @property
    def told(self) -> bool:
        """Whether it can be said that the delay is a fault, or is none."""
        tried = len(TAUS_S) * MOST_S / STEP_S * PAIRS_MOST * len(LOOKS_S)
        return self.explained > EXPLAINED and abs(self.evidence) > log(tried / ALPHA)

    @property
    def late(self) -> bool:
        """Whether the later signal's sensor is late."""
        return self.told and self.evidence > 0


def newest(
    first: Signal, then: Signal, step_s: float, allowed_s: float, bound: bool
) -> Delay | None:
    """The delay in the shortest stretch up to now that can tell; None where none can.

    Args:
        first, then: As for `delay`, over the longest of `LOOKS_S` and `MOST_S` before it.
        allowed_s: How long `then` may follow, beside the sensors' own steps.
        bound: No change of `first` is without effect on `then`. Else one change of each, of
            causes apart, may look like a delay: then no single one may decide.
    """
    own_s = allowed_s + _own_step_s(first, step_s) + _own_step_s(then, step_s)
    for look_s in LOOKS_S:
        size = round((look_s + MOST_S) / step_s)
        both = first[-size:], then[-size:]
        found = delay(*both, step_s, own_s)
        if found is None or not found.told:
            continue
        if bound or not found.late or _again(*both, step_s, own_s):
            return found
    return None


def _again(first: Signal, then: Signal, step_s: float, allowed_s: float) -> bool:
    """Whether it is late by any stretch of `MOST_S` left out, so by more than one change."""
    size = round(MOST_S / step_s)
    for start in range(size, len(then), size // 2):
        without = then.copy()
        without[start : start + size] = np.nan
        found = delay(first, without, step_s, allowed_s)
        if found is None or not found.late:
            return False
    return True


def _own_step_s(values: Signal, step_s: float) -> float:
    """How often a signal brings a new value, on the grid at the most. [s]"""
    known = values[np.isfinite(values)]
    changes = int(np.count_nonzero(np.diff(known)))
    return step_s * len(known) / (changes + 1)


def delay(first: Signal, then: Signal, step_s: float, allowed_s: float) -> Delay | None:
    """By how much `then` comes after `first`; None where too little is there.

    Args:
        first, then: On one even grid, NaN where missing, shape (n,); the first `MOST_S` of `then`
            are not looked at.
        allowed_s: Delays up to this are no fault.
    """
    lags = np.arange(round(MOST_S / step_s) + 1)
    beyond = lags * step_s > allowed_s
    rows = np.arange(len(then))
    rows = rows[(rows >= lags[-1]) & np.isfinite(then)]
    too_few = len(rows) < 2 * len(lags)
    if too_few or not beyond.any() or not np.isfinite(first).any():
        return None
    lagged = _first_order(_held(first), step_s)
    shifted = lagged[:, rows[None] - lags[:, None]]  # (taus, lags, m)
    shifted = _detrended(shifted, rows)
    wanted = _detrended(then[rows], rows)
    share, gain = _explained(shifted, wanted)
    # As alike as the error is by the best delay that is no fault; and wholly so, as that is always
    # found too small where two signals only wander. The weaker evidence counts.
    sound = _best(np.where(beyond, 0.0, share))
    residual = wanted - gain[sound] * shifted[sound]
    next_to = np.diff(rows) == 1
    evidence = [
        _evidence(
            _innovations(shifted, alike)[..., next_to],
            _innovations(wanted, alike)[next_to],
            beyond,
        )
        for alike in (_alike(residual), 1.0)
    ]
    agree = min(evidence) * max(evidence) > 0
    weaker = min(evidence, key=abs) if agree else 0.0
    tau, lag = _best(share)
    return Delay(float(lags[lag] * step_s), weaker, float(share[tau, lag]))


def _best(share: Floats) -> tuple[int, int]:
    """Indices of time constant and delay that explain most."""
    tau, lag = np.unravel_index(int(share.argmax()), share.shape)
    return int(tau), int(lag)


def _evidence(shifted: Signal, wanted: Signal, beyond: Bools) -> float:
    """Logarithm of the likelihood ratio of the delays beyond those that are no fault.

    Of normal errors of unknown size: n/2 ln(RSS_sound / RSS_late).
    """
    share, _ = _explained(shifted, wanted)
    left_sound = 1 - share[:, ~beyond].max()
    left_late = 1 - share[:, beyond].max()
    return len(wanted) / 2 * log(left_sound / left_late)


def _held(values: Signal) -> Signal:
    """The last known value where one is missing; the first known one before it. (n,)"""
    known = np.flatnonzero(np.isfinite(values))
    at = np.searchsorted(known, np.arange(len(values)), side="right") - 1
    return np.asarray(values[known[np.maximum(at, 0)]])


def _first_order(values: Signal, step_s: float) -> Signal:
    """The signal through each of `TAUS_S`. (taus, n)

    y[k] = keep y[k-1] + (1 - keep) x[k] from y[0] = x[0], summed up over twice as many steps each
    time (Hillis and Steele 1986, Commun. ACM 29, 1170, from memory).
    """
    keep = np.exp(-step_s / np.maximum(TAUS_S, 1e-9))[:, None]
    out = (1 - keep) * values
    out[:, 0] = values[0]
    reach = 1
    while reach < len(values):
        out[:, reach:] += keep**reach * out[:, :-reach]
        reach *= 2
    return out


def _detrended(values: Signal, rows: Ints) -> Signal:
    """What a straight line over time leaves, along the last axis."""
    line, _ = np.linalg.qr(np.column_stack([np.ones(len(rows)), rows - rows.mean()]))
    return np.asarray(values - (values @ line) @ line.T)


def _power(values: Signal) -> Floats:
    """Sum of squares along the last axis, never 0."""
    squares = np.abs(values) ** 2
    return np.asarray(np.maximum(squares.sum(axis=-1), LEAST))


def _explained(shifted: Signal, wanted: Signal) -> tuple[Floats, Signal]:
    """Share of the changes that each delay explains, none with the wrong sign, and its gain."""
    size = _power(shifted)
    gain = (shifted.conj() @ wanted) / size
    share = np.abs(gain) ** 2 * size / _power(wanted)
    share = np.minimum(share, 1 - ROUNDING)
    return np.where(gain.real > 0, share, 0.0), gain


def _alike(residual: Signal) -> float:
    """Correlation of an error from step to step, 0 to 1."""
    before = residual[:-1].conj()
    after = residual[1:]
    alike = np.sum(after * before).real / _power(residual)
    return float(np.clip(alike, 0.0, 1.0))


def _innovations(values: Signal, alike: float) -> Signal:
    """What of each step is new, where the error of one is alike that of the step before."""
    expected = alike * values[..., :-1]
    return np.asarray(values[..., 1:] - expected)
