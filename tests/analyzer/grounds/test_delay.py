"""How late one signal comes, on signals whose delay is known because it was put there."""

import numpy as np
import pytest

from analyzer.grounds.delay import ALPHA, LOOKS_S, MOST_S, STEP_S, delay, newest

N = round((LOOKS_S[0] + MOST_S) / STEP_S)
LONG = round((LOOKS_S[1] + MOST_S) / STEP_S)
ALLOWED_S = 20.0


def throttle(seed: int, n: int = N, every: int = 40) -> np.ndarray:
    """A hand that moves a lever at random times, `every` steps apart on the average. (n,)"""
    rng = np.random.default_rng(seed)
    moved = rng.random(n) < 1 / every
    settings = rng.uniform(20.0, 60.0, n)
    at = np.maximum.accumulate(np.where(moved, np.arange(n), 0))
    return settings[at]


def shifted(values: np.ndarray, delay_s: float) -> np.ndarray:
    """The same values so much later, the first one before them. (n,)"""
    by = round(delay_s / STEP_S)
    return np.concatenate([np.full(by, values[0]), values[: len(values) - by]])


def noisy(values: np.ndarray, sd: float = 1.0, seed: int = 9) -> np.ndarray:
    return values + sd * np.random.default_rng(seed).standard_normal(len(values))


@pytest.mark.parametrize("delay_s", [30.0, 60.0, 120.0, 200.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_delay_that_was_put_there_is_found(delay_s, sign):
    hand = throttle(1)
    found = delay(hand, sign * noisy(sign * shifted(hand, delay_s)), STEP_S, ALLOWED_S)
    assert found.late
    assert found.delay_s == delay_s


def test_an_exact_copy_is_late_by_exactly_what_it_was_shifted():
    hand = throttle(2)
    assert delay(hand, shifted(hand, 75.0), STEP_S, ALLOWED_S).delay_s == 75.0


@pytest.mark.parametrize("delay_s", [0.0, 10.0, 20.0])
def test_a_delay_that_is_allowed_is_no_fault_and_is_told(delay_s):
    hand = throttle(3)
    found = delay(hand, noisy(shifted(hand, delay_s)), STEP_S, ALLOWED_S)
    assert found.told
    assert not found.late


@pytest.mark.parametrize("tau_s", [15.0, 30.0, 60.0])
def test_a_boat_s_inertia_is_no_delay(tau_s):
    """Exact step response of a first-order lag, between the time constants of the grid too."""
    hand, keep = throttle(4), np.exp(-STEP_S / tau_s)
    speed = np.empty(N)
    state = hand[0]
    for k, value in enumerate(hand):
        state = keep * state + (1 - keep) * value
        speed[k] = state
    found = delay(hand, noisy(speed, 0.5), STEP_S, ALLOWED_S)
    assert not found.late


def test_what_goes_the_other_way_is_not_explained():
    hand = throttle(5)
    found = delay(hand, noisy(-shifted(hand, 60.0)), STEP_S, ALLOWED_S)
    assert not found.told


def test_the_earlier_signal_is_not_late():
    """With the roles turned round no delay from 0 on explains it."""
    hand = throttle(6)
    found = delay(shifted(hand, 100.0), noisy(hand), STEP_S, ALLOWED_S)
    assert not found.late


def test_a_turned_compass_is_no_matter():
    """Velocities as complex numbers, the compass 40 degrees off: a complex gain."""
    course = np.exp(1j * throttle(7) / 10)
    found = delay(course * np.exp(0.7j), 2.5 * shifted(course, 90.0), STEP_S, ALLOWED_S)
    assert (found.late, found.delay_s) == (True, 90.0)


def test_signals_of_causes_apart_are_late_by_chance_as_seldom_as_is_said():
    """Two random walks and two hands that know nothing of each other: the rule of three gives
    300 pairs without an alarm a rate under 1 %; with `ALPHA` of 1e-4 none is expected."""
    rng = np.random.default_rng(8)
    alarms = 0
    for _ in range(150):
        walks = rng.standard_normal((2, N)).cumsum(axis=1)
        found = delay(walks[0], walks[1], STEP_S, ALLOWED_S)
        alarms += found is not None and found.late
    assert alarms <= 150 * 10 * ALPHA


def test_too_little_tells_nothing():
    hand = throttle(10)
    gone = np.full(N, np.nan)
    assert delay(hand, gone, STEP_S, ALLOWED_S) is None
    assert delay(gone, hand, STEP_S, ALLOWED_S) is None
    steady = noisy(np.full(N, 30.0))
    assert not delay(steady, noisy(steady, seed=11), STEP_S, ALLOWED_S).told


def one_change_each() -> tuple[np.ndarray, np.ndarray]:
    """A lever moved once, and a sail set once, 100 s later: of causes apart. (n,) each"""
    first, then = np.full(LONG, 40.0), np.full(LONG, 3.0)
    first[-120:] = 60.0
    then[-100:] = 5.0
    return noisy(first, 0.3), noisy(then, 0.03)


def test_one_change_of_each_decides_only_where_one_is_bound_to_the_other():
    first, then = one_change_each()
    assert newest(first, then, STEP_S, ALLOWED_S, bound=True).late
    assert newest(first, then, STEP_S, ALLOWED_S, bound=False) is None


def test_several_changes_decide_in_any_case():
    hand = throttle(12, LONG)
    late = noisy(shifted(hand, 100.0))
    assert newest(hand, late, STEP_S, ALLOWED_S, bound=False).delay_s == 100.0


def test_a_seldom_reading_is_late_by_its_own_step_without_a_fault():
    """Read every 60 s and held in between: on the average half a minute late."""
    hand = throttle(13, LONG)
    held = hand[np.arange(LONG) // 12 * 12]
    found = newest(hand, shifted(held, 30.0), STEP_S, ALLOWED_S, bound=True)
    assert found is None or not found.late
