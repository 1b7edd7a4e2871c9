"""Design matrix of the sag fit: what each unknown of the pack's circuit multiplies, along a trip.

Of the mean cell, positive on discharge:

    V - U(s, T) = g·h(q)·G(T) + c + sum_j b_j·phi_j(q)
                  - R0·I·f1(s)·k(T, w0) - R1·L1[I·f1(s)·k(T, w1)] - R2·L2[I·f2(s)·k(T, w1)] + n

    V, I, T   voltage [V], current [A] and temperature [°C], measured
    s, q      state of charge, and charge moved as a share of the capacity
    U         published rest curve [V]; c, b_j its error: level, and hat functions phi_j over q
    g, h      half the hysteresis gap [V] and its state, -1 to 1; G(T) its growth in the cold
    R0        ohmic resistance; R1, R2 of a fast and a slow RC pair [ohm], at 25 °C
    L1, L2    first-order lags with the pairs' time constants
    f1, f2    how resistances change with charge: ohmic and fast pair, slow pair; or both 1
    k(T, w)   1 - w + w·exp(E/R·(1/T - 1/298.15 K)): a share w is charge transfer, whose
              activation energy E is published; the rest is metal and electrolyte
    n         residual (`sag_noise.py`)

The circuit is the usual one of two RC pairs (G. Plett, Battery Management Systems 1, 2015, from
memory). Given time constants, shares, shape and the state of hysteresis at the start it is linear
in R0, R1, R2, g, c and b. Each such choice is a hypothesis; all take their columns from one matrix.
"""

from dataclasses import dataclass
from itertools import product, starmap

import numpy as np

from analyzer.pack.chemistry import Chemistry, Numeric, arrhenius
from analyzer.series.recursion import first_order_lag, hysteresis_state
from analyzer.series.series import Floats, Ints
from logger.units import HOUR_S

# Time constants of both pairs, each about 1.7 times the one before: a pair that lies between two
# of them is told by both. Their reach is assumed.
TAU1_S = (8.0, 14.0, 23.0, 37.0, 60.0)
TAU2_S = (200.0, 350.0, 600.0, 1050.0, 1800.0)
TRANSFER_J = 33.8e3  # J/mol, of charge transfer; source: Electrochim. Acta 60 (2012) 269
# Shares of charge transfer, of R0 and of both pairs: grids, and mean and standard deviation of
# their normal priors. A whole cell that shows 20 kJ/mol, as large ones do near 10 °C, has about a
# half; polarisation has more of it than the ohmic part. The spreads are assumed.
SHARES0, SHARES1 = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8), (0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
SHARE0, SHARE1 = (0.47, 0.15), (0.6, 0.2)
STARTS = (
    -1.0,
    0.0,
    1.0,
)  # of hysteresis: after a discharge, between, after a charge; by definition
KNOT_FRAC = 0.05  # of charge between the knots of the rest curve's error; assumed
CIRCUIT = 4  # parameters before those of the curve's error, R0, R1, R2 and g; by definition


@dataclass(frozen=True)
class Circuit:
    """One choice of time constants, shares and shape.

    Args:
        cold: Columns of R0, R1 and R2; `warm`: the same with the pack held at 25 °C.
        transfer: Shares of charge transfer in R0, R1 and R2.
        log_prior: Of this choice among all, up to a constant.
    """

    cold: tuple[int, int, int]
    warm: tuple[int, int, int]
    transfer: tuple[float, float, float]
    log_prior: float


@dataclass(frozen=True)
class Hypothesis:
    """A circuit, and the column of the hysteresis that began in one of `STARTS`."""

    circuit: Circuit
    hysteresis: int


@dataclass(frozen=True)
class Design:
    """The matrix, (n, columns), with the hypotheses that draw on it.

    Its last columns are hysteresis for each start, the constant and the hat functions.
    """

    matrix: Floats
    hypotheses: tuple[Hypothesis, ...]
    constant: int

    @property
    def curve(self) -> Ints:
        """Columns of the rest curve's error."""
        return np.arange(self.constant, self.matrix.shape[1])

    def columns(self, hypothesis: Hypothesis) -> list[int]:
        """Columns of a hypothesis' parameters R0, R1, R2, g, c, b in this order."""
        return [*hypothesis.circuit.cold, hypothesis.hysteresis, *self.curve]


class _Drives:
    """Currents as the parts of the circuit take them, each kept once, before the lag."""

    def __init__(
        self,
        kind: Chemistry,
        current_a: Floats,
        temp_c: Floats,
        soc: Floats,
    ) -> None:
        self.current_a = current_a
        self.temp_c = temp_c
        flat = np.ones(len(soc))
        fast = np.interp(soc, kind.soc, kind.fast_shape)
        slow = np.interp(soc, kind.soc, kind.slow_shape)
        # By whether they change with charge; the ohmic part goes with the fast pair.
        self.shapes = ((flat, flat, flat), (fast, fast, slow))
        self.columns: list[Floats] = []
        self.tau_s: list[float] = []
        self._at: dict[tuple[int, int, float, float], int] = {}

    def column(
        self,
        part: int,
        shaped: int,
        tau_s: float,
        transfer: float,
    ) -> int:
        """The column of R0, R1 or R2 (`part` 0, 1, 2), made if it is a new one."""
        key = (part, shaped, tau_s, transfer)
        # Hypotheses share columns: some 160 serve 6,300 of them.
        if key not in self._at:
            self._at[key] = len(self.columns)
            shape = self.shapes[shaped][part]
            growth = cold_factor(transfer, self.temp_c)
            self.columns.append(self.current_a * shape * growth)
            self.tau_s.append(tau_s)
        return self._at[key]

    def circuit(
        self,
        shaped: int,
        tau1_s: float,
        tau2_s: float,
        share0: float,
        share1: float,
    ) -> Circuit:
        """The circuit of one choice."""
        tau_s = (0.0, tau1_s, tau2_s)
        transfer = (share0, share1, share1)
        cold = [self.column(k, shaped, tau_s[k], transfer[k]) for k in range(3)]
        # At 25 °C the factor of the cold is 1 whatever the share.
        warm = [self.column(k, shaped, tau_s[k], 0.0) for k in range(3)]
        return Circuit(
            cold=(cold[0], cold[1], cold[2]),
            warm=(warm[0], warm[1], warm[2]),
            transfer=transfer,
            log_prior=_log_normal(share0, *SHARE0) + _log_normal(share1, *SHARE1),
        )


def _log_normal(value: float, mean: float, sd: float) -> float:
    """Logarithm of a normal density, up to a constant."""
    return -0.5 * ((value - mean) / sd) ** 2


def design_matrix(
    kind: Chemistry,
    current_a: Floats,
    temp_c: Floats,
    soc: Floats,
    ah: float,
    step_s: float,
) -> Design:
    """All columns along a trip, and the hypotheses over them.

    Args:
        current_a, temp_c, soc: Of each step, (n,).
        ah: Capacity. step_s: Length of a step.
    """
    drives = _Drives(kind, current_a, temp_c, soc)
    choices = product((0, 1), TAU1_S, TAU2_S, SHARES0, SHARES1)
    circuits = [drives.circuit(*choice) for choice in choices]
    losses = lagged(
        np.column_stack(drives.columns),
        np.array(drives.tau_s),
        step_s,
    )
    # Charge moved, not the charge filter's, whose corrections would bend the columns.
    moved = np.cumsum(current_a) * step_s / HOUR_S / ah
    given = np.diff(moved, prepend=moved[:1])  # nothing has moved yet at the first step
    growth = arrhenius(temp_c, kind.gap_activation_j)
    states = [growth * hysteresis_state(given, kind.gap_soc_frac, h0) for h0 in STARTS]
    columns = [
        -losses,
        *states,
        np.ones(len(moved)),
        _hats(moved),
    ]
    # Losses are negative so that all parameters are positive.
    first = losses.shape[1]
    starts = range(first, first + len(STARTS))
    return Design(
        matrix=np.column_stack(columns),
        hypotheses=tuple(starmap(Hypothesis, product(circuits, starts))),
        constant=first + len(STARTS),
    )


def _hats(moved: Floats) -> Floats:
    """Hat functions over the charge moved: 1 at their own knot, 0 at all others. (n, knots)"""
    knots = np.arange(moved.min(), moved.max() + KNOT_FRAC, KNOT_FRAC)
    distance = np.abs(moved[:, None] - knots) / KNOT_FRAC
    return np.maximum(1 - distance, 0.0)


def cold_factor(share: Numeric, temp_c: Numeric) -> Numeric:
    """k(T, w) above: resistance over that at 25 °C, for a share w of charge transfer."""
    return 1 - share + share * arrhenius(temp_c, TRANSFER_J)


def lagged(drive: Floats, tau_s: Floats, step_s: float) -> Floats:
    """tau·dy/dt = drive - y, from rest, for each column. (n, k)

    Args:
        drive: (n, k); NaN counts as 0.
        tau_s: Time constants, (k,); 0: without a lag.
    """
    now = np.nan_to_num(drive)
    # Between two readings the drive is taken for their mean: a load that comes on half-way through
    # a step of many seconds would else be felt half a step early or late.
    slow = tau_s > 0
    between = now.copy()
    between[1:, slow] = 0.5 * (now[1:, slow] + now[:-1, slow])
    keep = np.zeros(len(tau_s))
    keep[slow] = np.exp(-step_s / tau_s[slow])
    return first_order_lag(between, keep)
