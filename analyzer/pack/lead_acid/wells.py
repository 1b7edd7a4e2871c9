"""A lead-acid cell as two wells: charge at hand, and charge that has to come up first.

Kinetic battery model (J. F. Manwell and J. G. McGowan, "Lead acid battery storage model for hybrid
energy systems", Solar Energy 50 (1993) 399-405). With q the whole charge left, c the share of the
available well, k the rate constant and I the current:

    dq1/dt = -I + k (c q - q1)        q1: available, Ah
    dq2/dt =    - k (c q - q1)        q2 = q - q1: bound, Ah

Written with the lag g = c q - q1 of the available well the two part: dq/dt = -I and
dg/dt = (1 - c) I - k g, so that for a constant current over a time t, exactly,

    q(t) = q(0) - I t
    g(t) = g(0) e^(-kt) + (1 - c) I (1 - e^(-kt)) / k

The cell is empty when the available well is, however much is bound. Its voltage falls before:

    V = U(s) + a ln(q1 / (c q)) - e - R I

U rest voltage at the charge s counted out of the 20-hour capacity, a ln(..) the concentration at
the plates against that in the whole cell, nothing at rest (Nernst's form, a fitted), e what any
discharge costs at once, R the resistance.

In the cold less of q can be had and k is smaller; nothing of what was taken out changes, so that
cold takes from the bottom.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.pack.chemistry import REFERENCE_C, Floats
from logger.units import ZERO_C_IN_K

# The label: amp-hours in 20 hours to this voltage a cell, 25 °C; makers' data sheets.
LABEL_H, LABEL_V = 20.0, 1.75
# Activation temperature of acid diffusion: D = D25 exp(-2174 K (1/T - 1/298 K)), W. B. Gu et al.,
# J. Electrochem. Soc. 134 (1987) 2953; cited from memory. It gives 2.4 % a kelvin.
DIFFUSION_K = 2174.0
# What the total loses a kelvin below 25 °C, beside the rate constant. Makers print 86 % of the
# 10-hour capacity at 0 °C, 0.6 % a kelvin at 10 to 20 hours and 1 % at 1 to 3 hours; IEEE 485's
# factors (from memory) are 1.1 % a kelvin. Chosen between them; the doubt spans both.
TOTAL_PER_K, TOTAL_SD_PER_K = 0.0035, 0.002
COLDEST_SHARE = 0.1  # of the total, however cold; assumed
LEAST_A = 1e-9  # of a load, against a division by zero; assumed
LEAST_SHARE = 1e-9  # of a well that counts as empty, against a division by zero; assumed
STEPS = 40  # parts of a discharge, each at a constant current; assumed
HALVINGS = 24  # of the last part: its end is then good to 2e-9 of a part; assumed
MOST_FADING = 30.0  # what is older in time constants counts as nothing, exp(-30) = 1e-13; assumed


@dataclass(frozen=True)
class Wells:
    """Parameters of the two wells, one per Monte Carlo sample; arrays of one shape, (n,) or (n, 1).

    capacity_ah: what the label means, at 25 °C. total_ah: both wells when full, at the cell's
    temperature. share: c. rate_per_h: k. [1/h] concentration_v: a. activation_v: e.
    """

    capacity_ah: Floats
    total_ah: Floats
    share: Floats
    rate_per_h: Floats
    concentration_v: Floats
    activation_v: Floats

    def column(self) -> "Wells":
        """The same with arrays of shape (n, 1), to go with several loads (n, k)."""
        return Wells(**{name: values[:, None] for name, values in vars(self).items()})

    def take(self, which: npt.NDArray[np.int64]) -> "Wells":
        """The samples picked by index."""
        return Wells(**{name: values[which] for name, values in vars(self).items()})


@dataclass(frozen=True)
class Held:
    """What the wells hold: the whole charge q, and the available well's lag g behind c q. [Ah]"""

    charge_ah: Floats
    lag_ah: Floats


def full(wells: Wells) -> Held:
    """Both wells full and level."""
    return Held(wells.total_ah, np.zeros_like(wells.total_ah))


def at_charge(wells: Wells, soc: Floats, lag_ah: Floats | float = 0.0) -> Held:
    """The wells at a charge counted out of the label's capacity, with a lag from before.

    Args:
        soc: 1 - Ah taken out since full / capacity. [frac] shape of the wells
        lag_ah: 1 - c times `recent_ah`. [Ah]
    """
    drawn = (1.0 - soc) * wells.capacity_ah
    bound = 1.0 - wells.share
    # Neither has what was drawn left more behind than its own share of the bound well, nor holds
    # a well more than when full.
    room = np.maximum(drawn, 0.0)
    lag = np.clip(lag_ah, -wells.share * room, bound * room)
    return Held(wells.total_ah - drawn, np.asarray(lag))


def step(wells: Wells, held: Held, current_a: Floats, hours: Floats) -> Held:
    """The wells after a time at constant current, exactly. Broadcast shape.

    Args:
        current_a: Positive out of the cell. [A]
        hours: [h]
    """
    kt = wells.rate_per_h * hours
    filled = -np.expm1(-kt) / wells.rate_per_h
    grown = (1.0 - wells.share) * current_a * filled
    lag = held.lag_ah * np.exp(-kt) + grown
    return Held(held.charge_ah - current_a * hours, lag)


def available_ah(wells: Wells, held: Held) -> Floats:
    """The available well, q1. [Ah]"""
    return np.asarray(wells.share * held.charge_ah - held.lag_ah)


def charge_frac(wells: Wells, held: Held) -> Floats:
    """Charge counted out of the label's capacity; below 0 where more than that was had. [frac]"""
    return np.asarray(1.0 - (wells.total_ah - held.charge_ah) / wells.capacity_ah)


def surface_v(wells: Wells, held: Held) -> Floats:
    """What the lag takes from the voltage, -28 a at an empty well. [V]"""
    whole = np.maximum(wells.share * held.charge_ah, LEAST_SHARE * wells.total_ah)
    # an empty well has no voltage; -28 a ends any discharge and stays a number
    left = np.maximum(available_ah(wells, held) / whole, 1e-12)
    return np.asarray(wells.concentration_v * np.log(left) - wells.activation_v)


def recent_ah(
    current_a: Floats, step_h: float, rate_per_h: Floats, start_ah: Floats | float = 0.0
) -> Floats:
    """Charge drawn of late, faded at each rate: the sum of I dt e^(-k age). (r,) [Ah]

    The available well's lag is 1 - c of it, so that a log keeps this whatever c and k turn out.

    Args:
        current_a: Means over equal steps, oldest first; NaN counts as none. (m,) [A]
        step_h: [h]
        rate_per_h: k. [1/h] (r,)
        start_ah: The same at the first step. (r,)
    """
    amps = np.nan_to_num(np.asarray(current_a, float))
    rates = np.asarray(rate_per_h, float)
    age = np.arange(len(amps))[::-1]
    out = np.exp(-rates * step_h * len(amps)) * start_ah
    for i, rate in enumerate(rates):
        faded = rate * step_h  # in one step, in time constants
        near = age < MOST_FADING / faded
        in_one_h = -np.expm1(-faded) / rate
        out[i] += in_one_h * np.exp(-faded * age[near]) @ amps[near]
    return np.asarray(out)


def total_for(
    capacity_ah: Floats, share: Floats, rate_per_h: Floats, drop_v: Floats | float,
    concentration_v: Floats,
) -> Floats:  # fmt: skip
    """Both wells together, so that the label's discharge gives the label's capacity. [Ah]

    At its end g is known, and q follows from the voltage there: q1 / (c q) = exp(-drop / a).

    Args:
        drop_v: Rest voltage at 0 %, less what the discharge costs at once, above 1.75 V.
    """
    filled = -np.expm1(-rate_per_h * LABEL_H) / rate_per_h
    lag = (1.0 - share) * capacity_ah / LABEL_H * filled
    # with no drop left the wells would have to be endless
    left = np.exp(-np.maximum(drop_v, 0.02) / concentration_v)
    return np.asarray(capacity_ah + lag / (share * (1.0 - left)))


def capacity_factor(temp_c: Floats | float, per_k: Floats | float = TOTAL_PER_K) -> Floats:
    """The total over that at 25 °C. [frac]"""
    warmer_k = np.asarray(temp_c) - REFERENCE_C
    return np.asarray(np.maximum(1.0 + per_k * warmer_k, COLDEST_SHARE))


def rate_factor(temp_c: Floats | float) -> Floats:
    """The rate constant over that at 25 °C, by the diffusion of acid. [frac]"""
    kelvin = np.maximum(np.asarray(temp_c, float), -40.0) + ZERO_C_IN_K
    colder = 1.0 / kelvin - 1.0 / (REFERENCE_C + ZERO_C_IN_K)
    return np.asarray(np.exp(-DIFFUSION_K * colder))


@dataclass(frozen=True)
class Spent:
    """A discharge to its first limit: its length [h], what is held then, which limit it was."""

    hours: Floats
    held: Held
    limit: npt.NDArray[np.int64]


Load = Callable[[Held], Floats]
Margins = Callable[[Held, Floats], Floats]


def run_to_limit(
    wells: Wells, start: Held, floor_ah: Floats, load: Load, margins: Margins
) -> Spent:
    """Discharges every sample until the first margin is used up.

    Walks in equal parts of the charge above a floor, each at a constant current, and halves the
    part in which a margin ends.

    Args:
        wells: (n, 1). start: (n, 1) or (n, k).
        floor_ah: Charge at which the run ends at the latest. [Ah] (n, 1)
        load: Current of each sample and load where so much is held. [A] (n, k)
        margins: What is left to each limit then, (l, n, k); the run ends where one is not positive.
    Returns:
        Shapes (n, k). No time where a margin is used up at the start.
    """
    last = _last_parts(wells, start, floor_ah, load, margins)
    share = _share_before(wells, last, margins)
    end = step(wells, last.held, last.amps, share * last.length_h)
    left = margins(end, np.maximum(load(end), LEAST_A))
    return Spent(last.hours + share * last.length_h, end, np.argmin(left, axis=0))


@dataclass(frozen=True)
class _Parts:
    """The part in which each run ends: its beginning, current and whole length; (n, k)."""

    held: Held
    hours: Floats
    amps: Floats
    length_h: Floats


def _last_parts(
    wells: Wells, start: Held, floor_ah: Floats, load: Load, margins: Margins
) -> _Parts:
    """Walks every run part by part until a margin ends within the next, or at the floor."""
    shape = load(start).shape
    part = np.maximum(start.charge_ah - floor_ah, 0.0) / STEPS
    charge, lag = (np.broadcast_to(a, shape).copy() for a in (start.charge_ah, start.lag_ah))
    hours, last_a, last_h = np.zeros(shape), np.ones(shape), np.zeros(shape)
    going = np.broadcast_to(part > 0, shape).copy()
    for _ in range(STEPS):
        # equal parts of the charge, not of time: near empty all changes fast
        now = Held(charge, lag)
        amps = np.maximum(load(now), LEAST_A)
        length = part / amps
        then = step(wells, now, amps, length)
        over = going & (margins(then, amps).min(axis=0) <= 0.0)
        last_a[over], last_h[over] = amps[over], length[over]
        going &= ~over
        hours = np.where(going, hours + length, hours)
        charge = np.where(going, then.charge_ah, charge)
        lag = np.where(going, then.lag_ah, lag)
        if not going.any():
            break
    return _Parts(Held(charge, lag), hours, last_a, last_h)


def _share_before(wells: Wells, last: _Parts, margins: Margins) -> Floats:
    """Share of the last part that is walked before a margin ends, by halving. (n, k)"""
    low, high = np.zeros(last.amps.shape), np.ones(last.amps.shape)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        then = step(wells, last.held, last.amps, middle * last.length_h)
        good = margins(then, last.amps).min(axis=0) > 0.0
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    return low
