"""The filter's covariances: what is known of the states at first, and what each step adds to it.

Random walks stand for what no equation of the cell describes. Where an error comes back to what is
usual (gap, polarisation, branch of hysteresis) it is a forgetting process: its variance stays.
"""

import math

import numpy as np

from analyzer.pack.cell_model import Cell
from analyzer.pack.chemistry import GAS_J_PER_MOL_K, LEAD
from analyzer.pack.curves.doubt import FULL_SD
from analyzer.pack.lead_acid.charge import FULL_SD as LEAD_FULL_SD
from analyzer.pack.soc import states
from analyzer.pack.soc.states import CURVE, LN_Q, STATES, FilterInputs, FilterStep, Floats
from logger.units import HOUR_S, ZERO_C_IN_K

# How many times as far a strange cell's curve is off: the contaminated normal distribution of J. W.
# Tukey, "A survey of sampling from contaminated distributions" (published in 1960).
STRANGE = 3.0
READING_SD_V = 0.002  # of a reading of the mean cell; common practice, no source
OFFSET_SD_C = 0.004  # of the shunt, as a share of Ah: 0.8 A on 200 Ah; assumed
CHARGED = 0.5  # how often a pack that lay unseen for long was charged; assumed
FULL_SHARE = 0.5  # of the charges, at the least, that go on to the end; assumed
HYST_SD = 0.7  # of hysteresis before anything is known: anywhere between both branches; assumed
GAP_REACH = 6.0  # charges moved after which the gap's size is another: a quarter over one; assumed
WALK_S = 1200.0  # correlation time of the polarisation's random walk; assumed
WALK_REST_V = 0.002  # its standard deviation at rest; assumed
YEAR_H = 8766.0  # of 365.25 days, by definition
AGEING_SD = 0.03  # by how much a year may change the capacity, relative; common practice, no source
COUNT_SD = 0.003  # of the charge moved: gain and timing, as a share; assumed
# Doubt of the activation energies; a changed temperature makes the resistances less sure. Published
# ones reach from 10 kJ/mol, where the ohmic part rules, to over 40 for charge transfer alone.
FAST_ENERGY_SD_J, SLOW_ENERGY_SD_J = 12e3, 15e3
# What is left of that doubt once one factor for r0 and r1 is learned: they part in the cold, by
# the difference of two such energies times their shares, a third and two thirds. Assumed.
APART_ENERGY_J = 4e3
# Of the whole curve: published entropy coefficients reach from -0.1 to 0.2 mV/K.
ENTROPY_SD_V_PER_K = 1e-4
# Random walks: of the charge beside what is counted, of resistances, of the shunt's offset as a
# share of Ah, each after an hour. Assumed.
SOC_WALK, FAST_WALK, SLOW_WALK, OFFSET_WALK_C = 1e-4, 0.02, 0.05, 0.0003


def start_shares(edges: Floats) -> Floats:
    """Probability of each stretch of charge where a log begins: (n,) edges from 0 to 1, (n - 1,).

    The pack is as somebody left it, anywhere; or it was charged from there, to the end or for a
    part of the way. From a uniform start s to a uniform end above it,

        P(end < x) = ∫ (x - s) / (1 - s) ds, 0 to x, = x + (1 - x) ln(1 - x)
    """
    left = np.maximum(1.0 - edges, 1e-12)
    upto = edges + left * np.log(left)
    charged = (1.0 - FULL_SHARE) * np.diff(upto)
    charged[-1] += FULL_SHARE
    anywhere = np.diff(edges)
    shares = (1.0 - CHARGED) * anywhere + CHARGED * charged
    return np.asarray(shares)


def prior_parts(cell: Cell) -> list[tuple[Floats, Floats]]:
    """`prior_moments` of each part of the packs in service. Of several the last is of packs that
    are not what their label says: of lithium cells the curve is another too."""
    last = len(cell.capacity) - 1
    # makers' curves of lead-acid differ by so much already that these hold strange ones
    other = STRANGE if last > 0 and cell.kind.name not in LEAD else 1.0
    return [
        prior_moments(cell, mean, sd, other if k == last else 1.0)
        for k, (_, mean, sd) in enumerate(cell.capacity)
    ]


def prior_moments(
    cell: Cell, ln_q: float, ln_q_sd: float, strange: float = 1.0
) -> tuple[Floats, Floats]:
    """Mean (states,) and covariance (states, states) before anything is seen, the charge apart.

    Args:
        ln_q, ln_q_sd: Mean and sd of ln(capacity) of one part of the packs in service.
        strange: How many times as far the curve may be off as the published makes have it.
    """
    kind = cell.kind
    mean = np.zeros(STATES)
    mean[LN_Q] = ln_q
    # an aged cell's curve bends elsewhere: it goes with the capacity
    mean[CURVE:] = kind.curve_per_ln_q_v * (ln_q - cell.curve_ln_q)
    # and so does its resistance, whose default is a new cell's
    mean[states.FAST] = kind.ohm_per_ln_q * ln_q
    sd = np.zeros(STATES)
    sd[states.SHIFT] = strange * kind.curve_sd_v
    sd[states.WALK] = WALK_REST_V
    sd[states.FAST] = kind.fast_sd
    sd[states.SLOW] = kind.slow_sd
    sd[states.OFFSET] = OFFSET_SD_C * cell.params.capacity_ah
    sd[LN_Q] = ln_q_sd
    sd[states.GAP] = kind.gap_sd
    sd[states.HYST] = HYST_SD
    sd[states.FULL] = LEAD_FULL_SD if kind.name in LEAD else FULL_SD
    prior = np.diag(sd**2)
    by_capacity = kind.curve_per_ln_q_v * ln_q_sd
    prior[CURVE:, CURVE:] = strange**2 * kind.curve_cov_v2
    prior[CURVE:, CURVE:] += np.outer(by_capacity, by_capacity)
    prior[states.FAST, states.FAST] += (kind.ohm_per_ln_q * ln_q_sd) ** 2
    fast_by_capacity = kind.ohm_per_ln_q * ln_q_sd**2
    prior[states.FAST, LN_Q] = fast_by_capacity
    prior[LN_Q, states.FAST] = fast_by_capacity
    prior[LN_Q, CURVE:] = by_capacity * ln_q_sd
    prior[CURVE:, LN_Q] = prior[LN_Q, CURVE:]
    return mean, prior


def forgetting(step: FilterStep, ah: float) -> tuple[tuple[int, float], ...]:
    """States that fade in a step, each with its factor: charge moved pulls hysteresis to its branch
    and makes the gap's size another, time ends what the random walk of the polarisation was."""
    same_gap = math.exp(-abs(step.charge_as) / (HOUR_S * ah * GAP_REACH))
    same_walk = math.exp(-step.length_s / WALK_S)
    return (states.HYST, step.hyst_keep), (states.GAP, same_gap), (states.WALK, same_walk)


def process_noise(inputs: FilterInputs, cell: Cell, before_c: float) -> Floats:
    """Variances added to the states in each step, shape (m, states).

    Args:
        before_c: Temperature before the first step. [°C]
    """
    kind = cell.kind
    ah = cell.params.capacity_ah
    hours = inputs.length_s / HOUR_S
    share = np.abs(inputs.charge_as) / (HOUR_S * ah)
    temp_c = np.r_[before_c, inputs.temp_c]
    warmer_k = np.diff(temp_c)
    # d ln R = E/R·d(1/T): a changed temperature makes resistances less sure
    by_energy = np.diff(1.0 / (temp_c + ZERO_C_IN_K)) / GAS_J_PER_MOL_K
    # no pair describes slow polarisation fully: what it leaves grows with it
    slow_v = np.abs(np.nan_to_num(inputs.u2_v))
    walk_v = WALK_REST_V + kind.walk_share * slow_v
    noise = np.zeros((len(hours), STATES))
    noise[:, states.SOC] = (COUNT_SD * share) ** 2
    noise[:, states.SOC] += SOC_WALK**2 * hours
    noise[:, states.SOC] += inputs.charge_var
    noise[:, states.SHIFT] = (ENTROPY_SD_V_PER_K * warmer_k) ** 2
    # forgetting processes keep their own variance: sd²·(1 - keep²), with keep as in `forgetting`
    walk_lost = -np.expm1(-2 * inputs.length_s / WALK_S)
    gap_lost = -np.expm1(-2 * share / GAP_REACH)
    noise[:, states.WALK] = walk_v**2 * walk_lost
    noise[:, states.GAP] = kind.gap_sd**2 * gap_lost
    noise[:, states.HYST] = kind.branch_sd**2 * (1 - inputs.hyst_keep**2)
    noise[:, states.FAST] = FAST_WALK**2 * hours + (FAST_ENERGY_SD_J * by_energy) ** 2
    noise[:, states.SLOW] = SLOW_WALK**2 * hours + (SLOW_ENERGY_SD_J * by_energy) ** 2
    noise[:, states.OFFSET] = (OFFSET_WALK_C * ah) ** 2 * hours
    noise[:, LN_Q] = AGEING_SD**2 * hours / YEAR_H
    return noise
