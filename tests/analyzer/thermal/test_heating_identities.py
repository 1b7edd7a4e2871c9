"""The heat filter against a matrix exponential, a fine solution of the two bodies, an IMM filter of
a public library, conditioning written out, and sampling."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.stats import norm

from analyzer.thermal.filter import ThermalImm
from analyzer.thermal.prior import HeatPrior, SecondNode
from analyzer.thermal.questions import rise, settled
from analyzer.thermal.transition import OFFSET, PHI, RISE, SECOND, STATES, TEMP
from tests.support.thermal import (
    BARE,
    LUG,
    Body,
    Drive,
    covs,
    generator,
    means,
    moments,
    started,
    stirred,
)

NAN = float("nan")


def blind_step(body: ThermalImm, dt_s: float, load: float, air_c: float) -> None:
    body.step(dt_s, np.array([load]), np.array([NAN]), np.array([air_c]))


# -- the whole filter against the textbook's ---------------------------------------------------


def log_of(seed: int, n: int = 60) -> list[tuple[float, float, float, float]]:
    """Steps (dt, load, temperature, air) of a boat's log with all that may be missing."""
    rng = np.random.default_rng(seed)
    dt = rng.choice([2.0, 10.0, 30.0, 300.0], n)
    load = np.where(rng.random(n) < 0.2, np.nan, rng.uniform(0, 1.6, n))
    temp = 24 + np.cumsum(rng.normal(0.2, 0.6, n))
    temp[rng.random(n) < 0.2] = np.nan
    temp[0] = 25.0
    air = 20 + np.cumsum(rng.normal(0, 0.05, n))
    return list(zip(dt.tolist(), load.tolist(), temp.tolist(), air.tolist(), strict=True))


@pytest.mark.parametrize(("prior", "seed"), [(LUG, 1), (BARE, 2)])
def test_every_step_is_the_textbook_filter_s_member_by_member(prior, seed):
    bank, book = ThermalImm((prior,)), Body(prior)
    for k, (dt_s, load, temp, air) in enumerate(log_of(seed)):
        bank.step(dt_s, np.array([load]), np.array([temp]), np.array([air]))
        if k == 0:
            book.start(temp, air)
        book.step(dt_s, load, temp, air)
        np.testing.assert_allclose(means(bank)[0], book.x, rtol=1e-7, atol=1e-8)
        np.testing.assert_allclose(covs(bank)[0], book.p, rtol=1e-6, atol=1e-8)
        np.testing.assert_allclose(bank.weight[0], book.w / book.w.sum(), rtol=1e-7)


def test_two_unlike_bodies_side_by_side_are_as_each_alone():
    both, alone = ThermalImm((LUG, BARE)), [ThermalImm((LUG,)), ThermalImm((BARE,))]
    for rows in zip(log_of(1), log_of(2), strict=True):
        dt_s, columns = rows[0][0], np.array(rows)[:, 1:].T
        both.step(dt_s, *columns)
        for k, one in enumerate(alone):
            one.step(dt_s, *columns[:, k : k + 1])
            # The floor under a weight (6e-6 of the greatest) is put under bodies not read, too.
            np.testing.assert_allclose(both.weight[k], one.weight[0], rtol=1e-5, atol=1e-6)
            assert rise(both)[0][k] == pytest.approx(rise(one)[0][0], rel=1e-5)
            assert rise(both)[1][k] == pytest.approx(rise(one)[1][0], rel=1e-5)
            assert settled(both, k, 1.3) == pytest.approx(settled(one, 0, 1.3), rel=1e-5)


def test_before_a_reading_the_members_are_the_prior_s():
    bank, book = ThermalImm((LUG,)), Body(LUG)
    np.testing.assert_allclose(bank.weight[0], book.w, rtol=1e-12)
    np.testing.assert_allclose(bank.network.tau_s[0, 0], book.tau_s, rtol=1e-12)
    mean, sd = rise(bank)
    # What the members share out between body and host comes to the prior's settled rise again.
    assert mean[0] == pytest.approx(LUG.rise_k + LUG.neighbour_k, rel=1e-12)
    ways = bank.weight[0].sum(axis=1)
    loose_sd = math.hypot(LUG.rise_sd_k, 0.25 * LUG.loose_walk_k)
    both = ways @ np.square([LUG.rise_sd_k, loose_sd]) + LUG.neighbour_sd_k**2
    assert sd[0] == pytest.approx(math.sqrt(both), rel=1e-12)


# -- the physics --------------------------------------------------------------------------------


def alone(prior: HeatPrior, state: np.ndarray) -> ThermalImm:
    """A filter all of whose members believe one state for sure."""
    body = started(prior)
    means(body)[...] = state
    covs(body)[...] = 0.0
    return body


@pytest.mark.parametrize("dt_s", [1.0, 30.0, 600.0])
def test_a_step_is_a_fine_solution_of_two_bodies(dt_s):
    prior = HeatPrior(
        rise_k=9.0, rise_sd_k=0.0, rise_walk_k=0.0, loose_walk_k=0.0, tau_s=420.0,
        neighbour_tau_s=1e-6, second_nodes=(SecondNode(1.2, 405.0), SecondNode(6.2, 3730.0)),
    )  # fmt: skip
    state = np.array([27.0, 11.0, 1.5, 3.0, 2.2])  # TEMP, RISE, OFFSET, NEIGHBOUR, SECOND
    body, load, air = alone(prior, state), 0.8, 18.0
    blind_step(body, dt_s, load, air)
    offset = 1.5 * math.exp(-dt_s / (12 * 3600))
    for k, tau in enumerate(body.network.tau_s[0, 0].tolist()):
        host = prior.second_nodes[k % 2]

        def two(_, y, tau=tau, host=host):
            made, slow = 11.0 * load, 3.0 * load
            body_k_s = (made + slow + y[1] - (y[0] - air - offset)) / tau
            host_k_s = (host.share * (made + PHI * slow) - y[1]) / host.tau_s
            return [body_k_s, host_k_s]

        fine = solve_ivp(two, (0, dt_s), [27.0, 2.2], rtol=1e-10, atol=1e-10).y[:, -1]
        np.testing.assert_allclose(means(body)[0, :, k, [TEMP, SECOND]].T, [fine, fine], rtol=1e-8)


def test_the_transition_s_derivatives_are_central_differences():
    """Two filters that start a little apart in one state end apart by that column."""
    base, at = np.array([27.0, 11.0, 1.5, 3.0, 2.2]), 0.05
    for state in range(STATES):
        ends = []
        for sign in (1, -1):
            body = alone(LUG, base + sign * at * np.eye(STATES)[state])
            blind_step(body, 20.0, 1.2, 19.0)
            ends.append(means(body)[0])
        column = (ends[0] - ends[1]) / (2 * at)
        seen = alone(LUG, base)
        covs(seen)[..., state, state] = 1.0
        before = alone(LUG, base)
        for one in (seen, before):
            blind_step(one, 20.0, 1.2, 19.0)
        # A unit variance in one state comes out as the outer product of the column.
        outer = column[..., :, None] * column[..., None, :]
        np.testing.assert_allclose((covs(seen) - covs(before))[0], outer, atol=1e-9)


def test_two_short_steps_are_one_long_step_when_nothing_drives_it():
    bodies = [alone(BARE, np.array([35.0, 11.0, 0.0, 3.0, 6.0])) for _ in range(2)]
    blind_step(bodies[0], 60.0, 0.0, 18.0)
    for _ in range(2):
        blind_step(bodies[1], 30.0, 0.0, 18.0)
    np.testing.assert_allclose(means(bodies[0]), means(bodies[1]), rtol=1e-12)


# -- interaction --------------------------------------------------------------------------------


def test_interaction_and_prediction_are_those_of_a_public_imm_filter():
    """filterpy's IMMEstimator, two models of one time constant at a time."""
    from filterpy.kalman import IMMEstimator, KalmanFilter

    body = stirred(LUG, 3)
    x, p, w = means(body)[0].copy(), covs(body)[0].copy(), body.weight[0].copy()
    dt_s, load, air = 600.0, 0.9, 18.0
    # Loads as the slow parts feel them after the step, from none.
    slow, soon, late = (load * (1 - math.exp(-dt_s / tau)) for tau in (1900.0, 170.0, 900.0))
    drive = Drive(0.8 * load + 0.2 * late, 0.65 * slow + 0.35 * soon, air)
    blind_step(body, dt_s, load, air)
    leave = 1 - np.exp(-np.array([0.02, 0.5]) * dt_s * load / 3600)  # sound and loosening, per h
    chain = np.array([[1 - leave[0], leave[0]], [leave[1], 1 - leave[1]]])
    fade = math.exp(-dt_s / (12 * 3600))
    for k, tau in enumerate(body.network.tau_s[0, 0].tolist()):
        host = LUG.second_nodes[k % 2]
        whole = expm(generator(tau, host.tau_s, host.share, drive) * dt_s)
        models = []
        for way, walk_k in enumerate((LUG.rise_walk_k, LUG.loose_walk_k)):
            kf = KalmanFilter(dim_x=STATES, dim_z=1, dim_u=1)
            kf.x, kf.P = x[way, k][:, None].copy(), p[way, k].copy()
            faded = np.eye(STATES)
            faded[OFFSET, OFFSET] = fade
            kf.F, kf.B = whole[:STATES, :STATES] @ faded, whole[:STATES, STATES:]
            wandered = np.zeros((STATES, STATES))
            wandered[OFFSET, OFFSET] = 2.5**2 * (1 - fade**2)
            # F fades the offset before it is carried; its wandering comes between the two.
            carried = whole[:STATES, :STATES]
            kf.Q = carried @ wandered @ carried.T
            kf.Q[RISE, RISE] += (walk_k / (1 + host.share)) ** 2 * dt_s * load / 3600
            models.append(kf)
        imm = IMMEstimator(models, w[:, k] / w[:, k].sum(), chain)
        imm.predict(np.array([[1.0]]))
        for way, kf in enumerate(models):
            model = 0.05**2 + (0.03 * (kf.x[TEMP, 0] - air)) ** 2
            kf.P[TEMP, TEMP] += model * dt_s / 60
            np.testing.assert_allclose(means(body)[0, way, k], kf.x[:, 0], rtol=1e-9)
            np.testing.assert_allclose(covs(body)[0, way, k], kf.P, rtol=1e-8, atol=1e-9)
        np.testing.assert_allclose(body.weight[0, :, k], w[:, k].sum() * imm.cbar, rtol=1e-9)


FROZEN = HeatPrior(
    rise_k=9.0, rise_sd_k=5.0, rise_walk_k=0.0, loose_walk_k=0.0, tau_s=1e12, offset_sd_k=0.0,
    model_k=0.0, model_frac=0.0, second_nodes=(SecondNode(1.2, 1e12), SecondNode(6.2, 1e12)),
)  # fmt: skip


def frozen(seed: int) -> ThermalImm:
    """Bodies so heavy that an hour moves nothing in them, with no offset that could fade."""
    body = stirred(FROZEN, seed)
    means(body)[..., OFFSET] = covs(body)[..., OFFSET, :] = covs(body)[..., :, OFFSET] = 0.0
    return body


def test_interaction_keeps_the_mixture_s_mean_and_covariance():
    """Law of total covariance: who believes what in it changes, the mixture does not."""
    body = frozen(4)
    mean, cov = moments(means(body), covs(body), body.weight)
    loose = body.weight[0, 1].sum()
    blind_step(body, 3600.0, 1.0, 20.0)
    assert body.weight[0, 1].sum() == pytest.approx(
        loose * math.exp(-0.5) + (1 - loose) * (1 - math.exp(-0.02)), rel=1e-9
    )
    after = moments(means(body), covs(body), body.weight)
    np.testing.assert_allclose(after[0], mean, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(after[1], cov, rtol=1e-6, atol=1e-6)


def test_interaction_s_moments_are_those_of_bodies_that_change_their_way():
    """Sampled: bodies drawn from both beliefs, each changing its way as often as the chain says."""
    body, n, rng = frozen(5), 400_000, np.random.default_rng(6)
    x, p, w = means(body)[0].copy(), covs(body)[0].copy(), body.weight[0].copy()
    blind_step(body, 3600.0, 1.0, 20.0)
    leave = 1 - np.exp([-0.02, -0.5])
    for k in (0, 7):
        way = (rng.random(n) < w[1, k] / w[:, k].sum()).astype(int)
        root = np.linalg.cholesky(p[:, k] + 1e-12 * np.eye(STATES))
        drawn = x[way, k] + np.einsum("nst,nt->ns", root[way], rng.standard_normal((n, STATES)))
        ends = np.where(rng.random(n) < leave[way], 1 - way, way)
        for j in range(2):
            some = drawn[ends == j]
            error = 5 / math.sqrt(len(some))
            sd = np.sqrt(np.diag(covs(body)[0, j, k]))
            assert np.all(np.abs(some.mean(axis=0) - means(body)[0, j, k]) <= error * sd + 1e-6)
            scale = np.outer(sd, sd) + 1e-6
            assert np.all(np.abs(np.cov(some.T) - covs(body)[0, j, k]) / scale < 3 * error)
            share = body.weight[0, j, k] / w[:, k].sum()
            assert np.mean(ends == j) == pytest.approx(share, abs=5 * 0.5 / math.sqrt(n))


# -- readings -----------------------------------------------------------------------------------


def test_a_reading_adds_its_information_and_no_other():
    """P+^-1 = P^-1 + h h^T / R and P+^-1 x+ = P^-1 x + h z / R, member by member."""
    prior = HeatPrior(
        rise_k=9.0, rise_sd_k=5.0, rise_walk_k=0, loose_walk_k=0, tau_s=420.0, fastest_k_s=1e30,
        second_nodes=(SecondNode(1.2, 405.0), SecondNode(6.2, 3730.0)),
    )  # fmt: skip
    body, z, noise = stirred(prior, 7), 28.0, 0.1**2
    blind = stirred(prior, 7)
    blind_step(blind, 1e-7, 0.0, 20.0)
    body.step(1e-7, np.zeros(1), np.array([z]), np.array([20.0]))
    before, after = np.linalg.inv(covs(blind)), np.linalg.inv(covs(body))
    gained = np.zeros((STATES, STATES))
    gained[TEMP, TEMP] = 1 / noise
    np.testing.assert_allclose(after - before, np.broadcast_to(gained, after.shape), atol=1e-5)
    told = np.einsum("bjmst,bjmt->bjms", before, means(blind))
    told[..., TEMP] += z / noise
    np.testing.assert_allclose(np.einsum("bjmst,bjmt->bjms", after, means(body)), told, rtol=1e-6)


def test_weights_are_prior_times_tempered_density():
    """w+ ~ w N(z; x, P + R)^(1/2), as half of each reading counts; scipy's density."""
    body, blind, z = stirred(LUG, 8), stirred(LUG, 8), 24.0
    blind_step(blind, 10.0, 0.3, 20.0)
    body.step(10.0, np.array([0.3]), np.array([z]), np.array([20.0]))
    sd = np.sqrt(covs(blind)[..., TEMP, TEMP] + 0.1**2)
    near = np.abs(z - means(blind)[..., TEMP]) < 5 * sd  # beyond, it counts as five
    assert near.all()
    want = blind.weight * np.sqrt(norm.pdf(z, means(blind)[..., TEMP], sd))
    np.testing.assert_allclose(body.weight, want / want.sum(), rtol=1e-9)


def test_a_reading_that_none_can_have_reached_is_as_no_reading():
    jumped, blind = started(LUG), started(LUG)
    for k in range(20):
        load, air = np.array([0.7]), np.array([20.0])
        temp = 26.0 + 0.1 * k
        jumped.step(10.0, load, np.array([temp + 60.0 if k % 2 else temp]), air)
        blind.step(10.0, load, np.array([NAN if k % 2 else temp]), air)
    np.testing.assert_array_equal(means(jumped), means(blind))
    np.testing.assert_array_equal(covs(jumped), covs(blind))
    np.testing.assert_array_equal(jumped.weight, blind.weight)
    assert jumped.doubted_s[0] == 10.0


def test_no_reading_moves_weight_only_between_the_ways_of_a_member():
    body = stirred(LUG, 9)
    of_tau = body.weight.sum(axis=1)
    for _ in range(30):
        blind_step(body, 60.0, 1.0, 20.0)
    np.testing.assert_allclose(body.weight.sum(axis=1), of_tau, rtol=1e-12)
