"""The bank of charge filters as a Gaussian mixture: moments, splitting, pruning, storing.

Against exact moments of mixtures, against sampling, and against scipy; figures invented.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from analyzer.pack.curves.doubt import KNOTS
from analyzer.pack.curves.service_prior import WRONG_LABEL
from analyzer.pack.soc import known
from analyzer.pack.soc.filter import MOST_COMPONENTS, GaussianMixtureFilter
from analyzer.pack.soc.state import (
    PackPosterior,
    curve_error_v,
    pack_mixture,
    unpack_covariance,
)
from analyzer.pack.soc.states import CURVE, FAST, GAP, HYST, LN_Q, SHIFT, SLOW, SOC, STATES, WALK
from logger.boat import Pack
from tests.support.charge_filter import SD, bank_of, cell_of, content, random_mixture
from tests.support.gaussians import mixture_moments, random_covariance, sampled

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=100)
PLACES = np.array([0.1, 0.33, 0.5, 0.52, 0.77])


@pytest.fixture
def before():
    return random_mixture(np.random.default_rng(11), PLACES)


@pytest.fixture
def bank(before):
    return bank_of(cell_of(), before)


def moments(bank):
    now = content(bank)
    return mixture_moments(now.weight, now.mean, now.cov)


def test_load_keeps_the_mixture(before, bank):
    again = content(bank)
    assert again.weight == approx(before.weight)
    assert (again.mean == before.mean).all()
    assert (again.cov == before.cov).all()


def test_mean_var_is_the_marginal_of_the_mixture(before, bank):
    centre, cov = mixture_moments(before.weight, before.mean, before.cov)
    mean, var = bank.mean_var()
    assert mean == approx(centre)
    assert var == approx(np.diag(cov))


def test_mean_var_is_what_sampling_gives(before, bank):
    drawn = sampled(np.random.default_rng(1), 200_000, before.weight, before.mean, before.cov)
    mean, var = bank.mean_var()
    # four standard errors of 200,000 draws; the charge's is of a mixture, its kurtosis below 3
    assert np.abs(drawn.mean(axis=0) - mean).max() == approx(
        0, abs=4 * np.sqrt(var.max() / len(drawn))
    )
    assert drawn.var(axis=0) == approx(var, rel=4 * np.sqrt(2 / len(drawn)))


def test_split_keeps_every_moment_up_to_the_second(bank):
    wide = np.array([True, False, True, False, False])
    centre, cov = moments(bank)
    weight, narrow = bank.weights(), bank.cov[SOC, SOC].copy()
    bank._split(wide)
    again, again_cov = moments(bank)
    assert len(bank.log_weight) == 3 + 3 * 2
    assert again == approx(centre, abs=1e-14)
    assert again_cov == approx(cov, abs=1e-14)
    now = content(bank)
    # 0.2, 0.6 and 0.2 of each parent, 1.3 of its standard deviations apart: 1 - 0.4 1.69 inside
    assert now.weight[3:] == approx(np.outer([0.2, 0.6, 0.2], weight[wide]).ravel())
    assert now.cov[3:, SOC, SOC] == approx(np.tile(0.324 * narrow[wide], 3))
    for p in now.cov:
        assert np.linalg.eigvalsh(p).min() > 0


def test_prune_and_split_drops_the_hopeless_and_shares_their_weight(bank, before):
    bank.log_weight = np.array([-30.5, 0.0, -29.5, -1.0, -40.0])
    bank.prune_and_split()
    assert content(bank).mean == approx(before.mean[1:4])
    share = np.exp([0.0, -29.5, -1.0])
    assert bank.weights() == approx(share / share.sum())
    assert content(bank).cov == approx(before.cov[1:4])


@pytest.mark.parametrize(
    ("sd", "log_weight", "pieces"),
    [(0.036, 0.0, 3), (0.034, 0.0, 1), (0.036, -9.9, 3), (0.036, -10.1, 1)],
)
def test_prune_and_split_splits_what_is_wide_and_likely(bank, sd, log_weight, pieces):
    bank.log_weight = np.zeros(5)
    bank.log_weight[2] = log_weight
    bank.cov[SOC, SOC, 2] = sd**2
    bank.prune_and_split()
    assert len(bank.log_weight) == 4 + pieces


@pytest.mark.parametrize(("left", "grown"), [(2, 2), (1, 0), (0, 0)])
def test_prune_and_split_never_holds_more_than_its_most(left, grown):
    # a split makes three of one: two more
    count = MOST_COMPONENTS - left
    bank = bank_of(
        cell_of(), random_mixture(np.random.default_rng(2), np.linspace(0.1, 0.9, count))
    )
    bank.log_weight = np.zeros(count)
    bank.cov[SOC, SOC, 0] = 0.05**2
    bank.prune_and_split()
    assert len(bank.log_weight) == count + grown


def test_pack_mixture_drops_the_unlikely_and_unpack_gives_whole_covariances(before):
    before.weight = np.array([0.5, 2e-5, 0.3, 0.2 - 8e-5, 6e-5])
    stored = pack_mixture(bank_of(cell_of(), before))
    likely = [0, 2, 3, 4]  # over 1e-4 of the likeliest: 5e-5 here
    share = before.weight[likely]
    assert stored.weight == approx(share / share.sum())
    assert (stored.mean == before.mean[likely]).all()
    whole = before.cov[likely]
    assert unpack_covariance(stored.cov) == approx(
        0.5 * (whole + whole.transpose(0, 2, 1)), abs=1e-16
    )


def test_a_state_goes_through_json_to_seven_digits(bank):
    state = replace(known(PACK, 0.5, 0.02), mixture=pack_mixture(bank))
    again = PackPosterior.from_dict(json.loads(json.dumps(state.to_dict())))
    for name in ("mean", "cov"):
        found, kept = getattr(again.mixture, name), getattr(state.mixture, name)
        assert found == approx(kept, rel=1e-7)
    assert again.mixture.weight == approx(state.mixture.weight)
    assert replace(again, mixture=state.mixture) == state


def test_from_dict_refuses_another_count_of_states(bank):
    data = replace(known(PACK, 0.5, 0.02), mixture=pack_mixture(bank)).to_dict()
    data["mixture"] = {**data["mixture"], "weight": data["mixture"]["weight"][:1]}
    with pytest.raises(ValueError, match="another version"):
        PackPosterior.from_dict(data)


def test_draws_have_the_moments_of_the_stored_mixture(bank):
    state = replace(
        known(PACK, 0.5, 0.02), mixture=pack_mixture(bank), drift_sd=0.03, v1_v=0.02,
        v2_v=0.03, r_factor=1.2, slow_factor=0.9,
    )  # fmt: skip
    count = 60_000
    some = state.draws(count, np.random.default_rng(3))
    centre, cov = moments(bank)
    params = state.cell["params"]
    ah, r0, slow = (np.log(some[k] / params[k]) for k in ("capacity_ah", "r0_ohm", "r2_ohm"))
    error = 4 / np.sqrt(count)
    sd = np.sqrt(np.diag(cov))
    for drawn, at in ((ah, LN_Q), (r0, FAST), (slow, SLOW)):
        assert drawn.mean() == approx(centre[at], abs=error * sd[at])
        assert drawn.std() == approx(sd[at], rel=error)
    assert some["soc"].mean() == approx(centre[SOC], abs=error * 0.3)
    assert some["soc"].var() == approx(cov[SOC, SOC] + 0.03**2, rel=2 * error)
    # joint: capacity and resistance keep their correlation
    assert np.cov(ah, r0)[0, 1] == approx(cov[LN_Q, FAST], abs=error * sd[LN_Q] * sd[FAST])
    # polarisation goes with the factor that a draw has; wander is polarisation of no pair's
    assert some["v1_v"] == approx(0.02 * np.exp(r0) / 1.2)
    wander = 0.03 * np.exp(slow) / 0.9 - some["v2_v"]
    assert wander.mean() == approx(centre[WALK], abs=error * sd[WALK])
    assert wander.std() == approx(sd[WALK], rel=error)
    assert np.abs(some["hysteresis"]).max() > 1.0  # a gap larger than usual, on the outer branch


def test_draws_of_one_point_are_the_point():
    mixture = random_mixture(np.random.default_rng(4), [0.61])
    mixture.mean[0, CURVE:] = 0.01 * np.random.default_rng(4).standard_normal(STATES - CURVE)
    mixture.mean[0, [GAP, HYST]] = 0.4, -0.7
    mixture.cov[:] = 1e-12 * np.eye(STATES)
    x = mixture.mean[0]
    state = replace(known(PACK, 0.5, 0.02), mixture=pack_mixture(bank_of(cell_of(), mixture)))
    some = state.draws(3, np.random.default_rng(5))
    own = np.interp(x[SOC], KNOTS, x[CURVE:])
    assert some["ocv_shift_v"] == approx(x[SHIFT] + own, abs=1e-4)
    assert some["hysteresis"] == approx(-0.7 * 1.4, abs=1e-4)
    assert some["r1_ohm"] == approx(state.cell["params"]["r1_ohm"] * np.exp(x[FAST]), rel=1e-4)


def test_curve_error_is_linear_between_knots():
    rng = np.random.default_rng(6)
    soc, at_knots = rng.uniform(-0.05, 1.05, 200), rng.standard_normal((200, len(KNOTS)))
    expected = [np.interp(s, KNOTS, row) for s, row in zip(soc, at_knots, strict=True)]
    assert curve_error_v(soc, at_knots) == approx(np.array(expected))


def test_known_charge_is_the_prior_times_what_is_believed():
    state = known(PACK, 0.6, 0.1)
    # fine sums of a normal density over the flat prior on 0 to 1
    z = np.linspace(0, 1, 20001)
    density = np.exp(-0.5 * ((z - 0.6) / 0.1) ** 2)
    mean = float(z @ density / density.sum())
    assert state.soc == approx(mean, abs=0.01)
    sure = known(PACK, 0.6, 0.02)
    assert (sure.soc, sure.sd) == approx((0.6, 0.02))
    # one component for each part of the packs in service
    parts = cell_of().capacity
    assert sure.mixture.weight == approx([weight for weight, _, _ in parts])
    assert sure.mixture.mean[:, LN_Q] == approx([mean for _, mean, _ in parts])


def test_prior_is_the_cells_own():
    # before anything is seen: standard deviations as the chemistry has them, charge flat
    cell = cell_of()
    mean, var = GaussianMixtureFilter(cell).mean_var()
    kind = cell.kind
    # one pack in twenty is none of its label's: three times as wide in the curve (Tukey 1960)
    strange = 1 + WRONG_LABEL * (3**2 - 1)
    sd = {SHIFT: kind.curve_sd_v * strange**0.5, FAST: kind.fast_sd, SLOW: kind.slow_sd,
          GAP: kind.gap_sd, LN_Q: cell.capacity_sd}  # fmt: skip
    for state, expected in sd.items():
        assert var[state] == approx(expected**2)
        assert mean[state] == approx(cell.capacity_ln_mean if state == LN_Q else 0.0, abs=1e-12)
    # law of total variance: of the curve given the capacity, and of the capacity through its slope
    by_capacity = kind.curve_per_ln_q_v * cell.capacity_sd
    assert var[CURVE:] == approx(strange * np.diag(kind.curve_cov_v2) + by_capacity**2)
    assert mean[HYST] == approx(0.0)


def test_random_covariances_of_these_tests_are_what_they_say():
    cov = random_covariance(np.random.default_rng(8), SD)
    assert np.sqrt(np.diag(cov)) == approx(SD)
    assert np.linalg.eigvalsh(cov).min() > 0
