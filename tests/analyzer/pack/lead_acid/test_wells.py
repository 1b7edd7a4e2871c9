"""The two wells against their differential equations, closed forms and conservation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analyzer.pack.lead_acid.prior import PRIORS, draw_wells, from_coordinates
from analyzer.pack.lead_acid.wells import (
    Held,
    Wells,
    at_charge,
    available_ah,
    capacity_factor,
    charge_frac,
    full,
    rate_factor,
    recent_ah,
    run_to_limit,
    step,
    surface_v,
    total_for,
)

ONE = np.ones((1, 1))


def wells(share=0.5, rate=0.8, ah=100.0, total=107.0) -> Wells:
    return Wells(ah * ONE, total * ONE, share * ONE, rate * ONE, 0.08 * ONE, 0.01 * ONE)


def two_wells(cell: Wells, q1: float, q2: float, current_a: float, hours: float):
    """The model's own equations, integrated: k (c q - q1) flows from the bound to the available."""
    c, k = cell.share.item(), cell.rate_per_h.item()

    def flow(_, q):
        up = k * (c * (q[0] + q[1]) - q[0])
        return [-current_a + up, -up]

    return solve_ivp(flow, (0, hours), [q1, q2], rtol=1e-10, atol=1e-10).y[:, -1]


@pytest.mark.parametrize("current_a", [55.0, 3.0, -12.0])
@pytest.mark.parametrize("hours", [0.01, 0.7, 9.0])
def test_step_solves_the_two_wells(current_a, hours):
    cell = wells(share=0.37, rate=1.6)
    held = Held(80.0 * ONE, 6.0 * ONE)
    q1 = available_ah(cell, held).item()
    expected = two_wells(cell, q1, 80.0 - q1, current_a, hours)
    found = step(cell, held, current_a * ONE, hours * ONE)
    assert available_ah(cell, found).item() == pytest.approx(expected[0], abs=1e-6)
    assert found.charge_ah.item() == pytest.approx(expected.sum(), abs=1e-6)


@given(
    share=st.floats(0.1, 0.9),
    rate=st.floats(0.05, 5.0),
    amps=st.floats(-50, 100),
    first=st.floats(0.001, 5.0),
    second=st.floats(0.001, 5.0),
)
def test_a_step_is_the_same_in_two_parts(share, rate, amps, first, second):
    cell, held = wells(share, rate), Held(90.0 * ONE, 2.0 * ONE)
    whole = step(cell, held, amps * ONE, (first + second) * ONE)
    parts = step(cell, step(cell, held, amps * ONE, first * ONE), amps * ONE, second * ONE)
    assert parts.charge_ah.item() == pytest.approx(whole.charge_ah.item(), abs=1e-9)
    assert parts.lag_ah.item() == pytest.approx(whole.lag_ah.item(), abs=1e-9)


def manwell_mcgowan_ah(total, c, k, hours):
    """Capacity at a constant current that empties the available well in so many hours, eq. 8."""
    e = np.exp(-k * hours)
    return total * k * c * hours / (1 - e + c * (k * hours - 1 + e))


@pytest.mark.parametrize("hours", [0.2, 1.0, 5.0, 20.0, 100.0])
def test_capacity_by_rate_is_the_closed_form(hours):
    cell = wells(share=0.4, rate=0.6)
    ah = manwell_mcgowan_ah(107.0, 0.4, 0.6, hours)
    amps = ah / hours * ONE
    run = run_to_limit(
        cell, full(cell), 0 * ONE, lambda _: amps, lambda held, _: available_ah(cell, held)[None]
    )
    assert run.hours.item() == pytest.approx(hours, rel=1e-4)
    assert (run.hours * amps).item() == pytest.approx(ah, rel=1e-4)


def test_the_label_s_discharge_gives_the_label():
    share, rate, spread, drop = 0.45, 0.9, 0.08, 0.17
    total = total_for(100.0 * ONE, share * ONE, rate * ONE, drop, spread * ONE)
    cell = Wells(100.0 * ONE, total, share * ONE, rate * ONE, spread * ONE, 0 * ONE)
    held = step(cell, full(cell), 5.0 * ONE, 20.0 * ONE)
    assert charge_frac(cell, held).item() == pytest.approx(0.0, abs=1e-12)
    assert surface_v(cell, held).item() == pytest.approx(-drop, rel=1e-9)


def test_recent_charge_is_the_lag_of_stepping_through_the_history():
    rng = np.random.default_rng(3)
    amps = rng.uniform(-20, 60, 50)
    cell = wells(share=0.3, rate=1.1)
    held = Held(100.0 * ONE, 1.5 * ONE)
    for a in amps:
        held = step(cell, held, a * ONE, 0.05 * ONE)
    found = recent_ah(amps, 0.05, np.array([1.1]), 1.5 / 0.7)
    assert 0.7 * found[0] == pytest.approx(held.lag_ah.item(), abs=1e-9)


def test_recent_charge_goes_on_from_where_it_was():
    amps, rates = np.linspace(0, 50, 40), np.array([0.2, 1.0, 5.0])
    whole = recent_ah(amps, 0.1, rates)
    parts = recent_ah(amps[25:], 0.1, rates, recent_ah(amps[:25], 0.1, rates))
    assert parts == pytest.approx(whole)


def test_a_current_that_was_not_measured_counts_as_none():
    rates = np.array([0.8])
    assert recent_ah(np.array([np.nan, 10.0]), 0.1, rates) == pytest.approx(
        recent_ah(np.array([0.0, 10.0]), 0.1, rates)
    )


@given(soc=st.floats(0.0, 1.0), lag=st.floats(-80.0, 80.0))
def test_no_well_holds_more_than_when_full(soc, lag):
    cell = wells(share=0.4)
    held = at_charge(cell, soc * ONE, lag * ONE)
    q1 = available_ah(cell, held).item()
    assert q1 <= 0.4 * 107.0 + 1e-9
    assert held.charge_ah.item() - q1 <= 0.6 * 107.0 + 1e-9


def test_a_rest_levels_the_wells_and_costs_nothing():
    cell = wells()
    held = step(cell, step(cell, full(cell), 60 * ONE, 0.5 * ONE), 0 * ONE, 48 * ONE)
    assert held.lag_ah.item() == pytest.approx(0.0, abs=1e-9)
    assert surface_v(cell, held).item() == pytest.approx(-0.01)
    assert charge_frac(cell, held).item() == pytest.approx(0.7)


def test_a_rest_in_between_gives_more():
    """Recovery, which no exponent of Peukert's has: an hour's rest after 40 Ah at 60 A."""
    cell = wells()

    def empty(start):
        run = run_to_limit(
            cell, start, 0 * ONE, lambda _: 60 * ONE, lambda h, _: available_ah(cell, h)[None]
        )
        return run.hours.item()

    before = step(cell, full(cell), 60 * ONE, 40 / 60 * ONE)
    assert empty(step(cell, before, 0 * ONE, ONE)) > 1.3 * empty(before)


def test_samples_and_loads_go_together_as_one_by_one():
    share, rate = np.array([0.3, 0.5]), np.array([1.2, 0.6])
    many = Wells(
        np.array([90.0, 100.0]), np.array([97.0, 110.0]), share, rate,
        np.full(2, 0.08), np.full(2, 0.01),
    ).column()  # fmt: skip
    loads = np.array([5.0, 20.0, 60.0])

    def hours(cell, amps):
        run = run_to_limit(
            cell, full(cell), 0 * cell.share, lambda _: amps + 0 * cell.share,
            lambda h, _: available_ah(cell, h)[None],
        )  # fmt: skip
        return run.hours

    together = hours(many, loads[None])
    for i in range(2):
        alone = Wells(**{k: v[i : i + 1] for k, v in vars(many).items()})
        for j in range(3):
            assert together[i, j] == pytest.approx(hours(alone, loads[None, j : j + 1]).item())
    assert (np.diff(together, axis=1) < 0).all()


def test_the_first_margin_that_ends_is_named_and_none_at_the_start_lasts_no_time():
    cell = wells()

    def margins(held, _):
        return np.stack([charge_frac(cell, held) - 0.3, available_ah(cell, held) - 1e-9])

    slow = run_to_limit(cell, full(cell), 0 * ONE, lambda _: 5 * ONE, margins)
    assert slow.limit.item() == 0
    assert slow.hours.item() == pytest.approx(70 / 5, rel=1e-6)
    fast = run_to_limit(cell, full(cell), 0 * ONE, lambda _: 300 * ONE, margins)
    assert fast.limit.item() == 1
    low = at_charge(cell, 0.2 * ONE)
    assert run_to_limit(
        cell, low, 0 * ONE, lambda _: 5 * ONE, margins
    ).hours.item() == pytest.approx(0.0, abs=1e-6)


def test_cold_takes_from_the_bottom():
    warm = wells()
    cold = wells(total=107.0 * float(capacity_factor(0.0)), rate=0.8 * float(rate_factor(0.0)))
    for cell in (warm, cold):
        assert charge_frac(cell, at_charge(cell, 0.6 * ONE)).item() == pytest.approx(0.6)
    missing = at_charge(warm, 0.6 * ONE).charge_ah - at_charge(cold, 0.6 * ONE).charge_ah
    assert missing.item() == pytest.approx(107.0 * (1 - float(capacity_factor(0.0))))


def test_less_can_be_had_in_the_cold():
    """A sealed maker's sheet, 86 % of the 10-hour capacity at 0 °C; IEEE 485, 1.1 % a kelvin; both
    with the rate's share of it, so that the total itself loses less than either."""
    assert float(capacity_factor(25.0)) == 1.0
    assert 0.86 < float(capacity_factor(0.0)) < 1.0
    assert float(capacity_factor(0.0, 0.0035)) == pytest.approx(1 - 25 * 0.0035)
    assert float(capacity_factor(35.0, 0.0035)) == pytest.approx(1 + 10 * 0.0035)


@pytest.mark.parametrize("kind", ["agm", "gel", "lead_acid"])
def test_drawn_wells_give_their_label_in_twenty_hours(kind):
    """By what a label means: C/20 for 20 h from full ends at 1.75 V a cell, 25 °C."""
    rng = np.random.default_rng(6)
    empty_v, capacity_ah = 1.93, np.full(200, 100.0)
    drawn = draw_wells(kind, capacity_ah, np.full(200, 25.0), empty_v, rng)
    again = np.random.default_rng(6)
    prior = PRIORS[kind]
    ohm_ah = from_coordinates(again.multivariate_normal(prior.mean, prior.cov, size=200))[4]
    end = step(drawn, full(drawn), 5.0 * np.ones(200), 20.0 * np.ones(200))
    left_v = empty_v + surface_v(drawn, end) - ohm_ah / 20.0
    # all but those few of so much resistance that the label's end would come before
    assert np.median(left_v) == pytest.approx(1.75, abs=1e-6)
    assert (np.abs(left_v - 1.75) < 1e-6).mean() > 0.9


def test_rate_grows_with_temperature_as_acid_diffuses():
    # exp(2174 (1/298.15 - 1/308.15)) = 1.267, by hand
    assert float(rate_factor(35.0)) == pytest.approx(1.267, abs=0.001)
    assert float(rate_factor(25.0)) == 1.0
