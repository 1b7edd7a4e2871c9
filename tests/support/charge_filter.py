"""Banks of the charge filter filled with numbers, and the cell's equations written once more.

All that the identity tests know of the filter's names stands here.
"""

from dataclasses import dataclass, field

import numpy as np

from analyzer.pack.cell_model import default_cell
from analyzer.pack.curves.doubt import KNOTS
from analyzer.pack.soc import states
from analyzer.pack.soc.filter import GaussianMixtureFilter
from analyzer.pack.soc.states import CURVE, SOC, STATES, FilterStep
from analyzer.pack.soc.voltage_model import TABLE_LOW, TABLE_STEP
from logger.boat import Pack
from tests.support.gaussians import random_covariance

SD = np.full(STATES, 0.004)
SD[:CURVE] = 0.02, 0.01, 0.003, 0.2, 0.3, 0.4, 0.05, 0.3, 0.4, 0.02  # in the states' order


def cell_of(chemistry="lfp", ah=100.0):
    """The default cell of a pack of one cell in series."""
    return default_cell(Pack(chemistry=chemistry, cells_in_series=1, rated_capacity_ah=ah))


def in_the_middle(soc):
    """The middle of the tables' cell in which a charge lies, so that a look-up there is exact."""
    return TABLE_LOW + (np.floor((np.asarray(soc) - TABLE_LOW) / TABLE_STEP) + 0.5) * TABLE_STEP


@dataclass
class Mixture:
    """A bank's content: weight (m,), mean (m, n), cov (m, n, n)."""

    weight: np.ndarray
    mean: np.ndarray
    cov: np.ndarray


def random_mixture(rng, soc):
    """One component at each charge, all else at random; the curve's own error is slight."""
    mean = 0.5 * SD * rng.standard_normal((len(soc), STATES))
    mean[:, CURVE:] = 3e-5 * rng.standard_normal((len(soc), STATES - CURVE))
    mean[:, SOC] = in_the_middle(soc)
    cov = np.array([random_covariance(rng, SD) for _ in soc])
    return Mixture(rng.dirichlet(np.full(len(soc), 3.0)), mean, cov)


def bank_of(cell, mixture):
    """A bank that holds a mixture."""
    bank = GaussianMixtureFilter(cell)
    bank.load(mixture.weight, mixture.mean, mixture.cov)
    return bank


def content(bank):
    """The mixture that a bank holds."""
    return Mixture(bank.weights(), bank.mean.T.copy(), bank.cov.transpose(2, 0, 1).copy())


@dataclass
class Load:
    """What one step holds, by name."""

    charge_as: float = 0.0
    length_s: float = 20.0
    lost_s: float = 0.0
    keep: float = 1.0
    drift: float = 0.0
    voltage_v: float = 3.2
    r0_v: float = 0.0
    u1_v: float = 0.0
    u2_v: float = 0.0
    cov: tuple = field(default=(0.0,) * 7)
    r0_ohm: float = 1e-3
    gap_factor: float = 1.0
    temp_shift_v: float = 0.0
    apart: float = 0.0

    def step(self):
        """As the filter takes it."""
        return FilterStep(*vars(self).values())


def curve_error_v(soc, at_knots):
    """The curve's own error between knots, linear. [V]"""
    return np.interp(soc, KNOTS, at_knots)


def terminal_v(cell, load, x, shapes_at):
    """The mean cell's voltage by the textbook's equivalent circuit. [V]

    V = OCV(z) + entropy + (1 + g) M(z) h + shift + slow polarisation + own curve error
        - e^fast s1(z) (I R0 + u1 - R0 offset) - e^slow s2(z) u2

    Args:
        x: States, (states,).
        shapes_at: Charge at which M, s1 and s2 are read; the filter's derivative leaves out how
            they change with charge.
    """
    kind = cell.kind
    tables = (kind.half_gap_v, kind.fast_shape, kind.slow_shape)
    half_gap, fast_shape, slow_shape = (np.interp(shapes_at, kind.soc, t) for t in tables)
    rest = np.interp(x[SOC], kind.soc, kind.mean_v) + load.temp_shift_v
    rest += (1 + x[states.GAP]) * half_gap * load.gap_factor * x[states.HYST]
    rest += x[states.SHIFT] + x[states.WALK]
    rest += curve_error_v(x[SOC], x[CURVE:])
    fast_v = load.r0_v + load.u1_v - load.r0_ohm * x[states.OFFSET]
    return (
        rest
        - np.exp(x[states.FAST]) * fast_shape * fast_v
        - np.exp(x[states.SLOW]) * slow_shape * load.u2_v
    )  # fmt: skip
