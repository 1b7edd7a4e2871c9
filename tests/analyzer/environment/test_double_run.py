"""Mean of means and the guided double run."""

import numpy as np
import pytest

from analyzer.environment.double_run import calibrate, find_runs, mean_of_means
from analyzer.series.series import Series
from logger.units import KN


def test_mean_of_means_equals_the_worked_example():
    # 6.000 kn in a stream 0.4 + 0.35 t - 0.1 t^2, runs at 0, 1, 2, 3 h: 6.40 5.35 6.70 5.45
    assert mean_of_means([6.40, 5.35, 6.70, 5.45]) == pytest.approx(6.000, abs=1e-12)
    assert np.mean([6.40, 5.35, 6.70, 5.45]) == pytest.approx(5.975)
    assert mean_of_means([6.40, 5.35]) == pytest.approx(5.875)


def test_mean_of_means_leaks_a_cubic_stream_as_the_formula_says():
    # -6/8 of the cubic coefficient times spacing cubed, worked by hand
    t = np.arange(4)
    speeds = 6.0 + np.array([1, -1, 1, -1]) * 0.01 * t**3
    assert mean_of_means(list(speeds)) - 6.0 == pytest.approx(-6 / 8 * 0.01)


def test_mean_of_means_refuses_five_runs():
    with pytest.raises(ValueError, match="2, 3 or 4 runs, got 5"):
        mean_of_means([1.0] * 5)


def to_and_fro(count, *, leg_s=240, water=2.5, log=1.08, advance=0.14, seed=3) -> Series:
    """Runs to and fro in a stream that changes as a square of time, turns between them."""
    rng = np.random.default_rng(seed)
    turn = 60
    bow = np.concatenate(
        [
            np.concatenate(
                [np.full(leg_s, 50.0 + 180 * (k % 2)), 50 + 180 * (k % 2) + 3.0 * np.arange(turn)]
            )
            for k in range(count)
        ]
    )
    t = np.arange(len(bow), dtype=float)
    along = 0.3 + 0.5 * t / 3600 - 0.8 * (t / 3600) ** 2
    angle = np.radians(bow)
    axis = np.radians(50.0)
    east = water * np.sin(angle) + along * np.sin(axis) + 0.05 * rng.standard_normal(len(t))
    north = water * np.cos(angle) + along * np.cos(axis) + 0.05 * rng.standard_normal(len(t))
    values = {
        "speed_ground_mps": np.hypot(east, north),
        "course_ground_deg": np.degrees(np.arctan2(east, north)) % 360,
        "heading_true_deg": (bow + 2 * rng.standard_normal(len(t))) % 360,
        "shaft_speed_rps": np.full(len(t), water / advance),
        "speed_water_mps": np.full(len(t), water / log),
    }
    return Series(0, 1.0, len(t), values)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_calibrate_takes_the_stream_out(count):
    found = calibrate(to_and_fro(count))
    assert len(found.runs) == count
    assert found.speed_water_mps[0] == pytest.approx(2.5, abs=0.06)
    assert found.water_factor[0] == pytest.approx(1.08, abs=0.03)
    assert found.advance_m[0] == pytest.approx(0.14, abs=0.004)


def test_one_run_says_which_heading_comes_next():
    found = calibrate(to_and_fro(1))
    assert found.speed_water_mps is None
    assert "run on 230°" in found.missing


def test_nothing_steady_says_what_to_do():
    still = Series(0, 1.0, 60, {"speed_ground_mps": np.zeros(60)})
    assert "hold one heading" in calibrate(still).missing


def test_find_runs_leaves_out_turns():
    for run in find_runs(to_and_fro(3)):
        assert (run.stop - run.start) <= 240
        assert run.speed_ground_mps / KN > 3


@pytest.mark.parametrize("count", [2, 3, 4])
def test_how_sure_the_mean_of_means_is_equals_drawing_it(count):
    runs = np.random.default_rng(count).normal(2.5, 0.06, (20_000, count))
    drawn = np.std([mean_of_means(list(row)) for row in runs])
    assert calibrate(to_and_fro(count)).speed_water_mps[1] == pytest.approx(drawn, rel=0.02)


def test_a_run_ends_where_its_heading_is_lost():
    one = to_and_fro(1, leg_s=500)
    assert len(find_runs(one)) == 1
    for name in ("heading_true_deg", "course_ground_deg"):
        one.values[name][250] = np.nan
    first, second = find_runs(one)
    assert first.stop <= 250 < second.start


def test_a_run_of_which_no_speed_over_ground_is_known_is_none():
    blind = to_and_fro(1)
    blind.values["speed_ground_mps"][:] = np.nan
    assert find_runs(blind) == ()
