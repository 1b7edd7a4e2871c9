"""A tide learned from a boat's own trips, against the tide that they were made of."""

import numpy as np
import pytest

from analyzer.environment import tide_fit
from analyzer.environment.stream import EDDY_S
from analyzer.environment.stream_table import parse_utc
from analyzer.environment.tide_constants import TideConstants
from analyzer.environment.tide_fit import LearnedTide, SeenStreams
from logger.units import DAY_S, HOUR_S, KN

START_S = parse_utc("2025-04-01")
# The main constituents of Rosario Strait, NOAA CO-OPS station PUG1702 (see tides/PUG1702.toml).
SOUND = TideConstants.model_validate({
    "speeds": "kn", "toward_deg": 5, "steady": -0.5,
    "constituents": {
        "M2": {"amplitude": 1.633, "phase_deg": 323.7},
        "S2": {"amplitude": 0.445, "phase_deg": 350},
        "N2": {"amplitude": 0.361, "phase_deg": 296.8},
        "K1": {"amplitude": 1.233, "phase_deg": 221.1},
        "O1": {"amplitude": 0.633, "phase_deg": 193.1},
    },
})  # fmt: skip
ROWS, EACH_S = 16, 600.0


def trips(seed: int, count: int, days: float, strength: float = 1.0) -> SeenStreams:
    """Outings of 2.7 h at any time of day, in a tide and eddies; streams seen within 0.05 m/s."""
    rng = np.random.default_rng(seed)
    parts = []
    for k, day in enumerate(np.sort(rng.uniform(0, days, count))):
        t_s = START_S + day * DAY_S + EACH_S * np.arange(ROWS)
        kept = np.exp(-np.abs(t_s[:, None] - t_s) / EDDY_S)
        eddies = 0.1 * np.linalg.cholesky(kept) @ rng.standard_normal((ROWS, 2))
        true = strength * np.stack(SOUND.at(t_s), axis=1)
        mps = true + eddies + 0.05 * rng.standard_normal(2)
        parts.append((t_s, np.full(ROWS, k), mps, np.full(ROWS, 0.05)))
    return SeenStreams(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def test_rayleigh_tells_apart_what_a_span_can():
    # periods of M2 with S2 14.77 days, with N2 27.55 days, of K1 with O1 13.66 days: textbook
    assert tide_fit.told_apart(0.5 * DAY_S) == ("M2",)
    assert tide_fit.told_apart(13.5 * DAY_S) == ("M2", "K1")
    assert tide_fit.told_apart(13.7 * DAY_S) == ("M2", "K1", "O1")
    assert tide_fit.told_apart(14.8 * DAY_S) == ("M2", "K1", "O1", "S2")
    assert tide_fit.told_apart(27.6 * DAY_S) == ("M2", "K1", "O1", "S2", "N2")


def test_a_season_of_trips_teaches_the_tide_within_its_range():
    found = tide_fit.learned(trips(1, 40, 180.0))
    assert isinstance(found, LearnedTide)
    assert found.names == ("M2", "K1", "O1", "S2", "N2")
    north = found.mean[:, 1] / KN
    assert np.hypot(north[1], north[2]) == pytest.approx(1.633, rel=0.15)  # M2 as it was put in
    t_s = START_S + 200 * DAY_S + HOUR_S * np.arange(48)
    told, _ = found.at(t_s)
    true = np.stack(SOUND.at(t_s), axis=1)
    assert np.sqrt(np.square(told - true).mean()) < 0.25 * np.sqrt(np.square(true).mean())


def test_ranges_hold_the_stream_to_come_as_often_as_they_say():
    held = []
    for seed in range(60):
        found = tide_fit.fit(trips(seed, 12, 60.0), tide_fit.told_apart(60 * DAY_S))
        rng = np.random.default_rng([seed, 1])
        t_s = START_S + 75 * DAY_S + rng.uniform(0, 10 * DAY_S, 4)
        told, sd = found.at(t_s)
        true = np.stack(SOUND.at(t_s), axis=1) + 0.1 * rng.standard_normal((4, 2))
        held += list((np.abs(told - true) < 1.2816 * sd[:, None]).ravel())  # 80 % of a normal
    # 60 seasons, eight values of each that go together: three standard deviations of 60 are 0.155
    assert 0.80 - 0.155 < np.mean(held) < 0.80 + 0.155


def test_draws_are_the_tide_and_its_range():
    found = tide_fit.fit(trips(3, 20, 60.0), ("M2", "K1"))
    draws = found.draws(START_S, 4000, np.random.default_rng(1))
    t_s = np.full(4000, START_S + 3 * DAY_S + 1234.0)
    east_north = np.stack(draws.at(t_s), axis=1)
    mean, sd = found.at(t_s[:1])
    assert east_north.mean(axis=0) == pytest.approx(mean[0], abs=4 * sd[0] / 4000**0.5 + 1e-3)
    assert east_north.std(axis=0) == pytest.approx(np.repeat(sd, 2), rel=0.05)
    few = draws.take(np.array([7, 7, 2]))
    assert few.at(t_s[:3])[0] == pytest.approx(east_north[[7, 7, 2], 0])


def test_too_few_trips_say_so():
    assert "7 trips" in tide_fit.learned(trips(1, 7, 90.0))
    assert "1 trip " in tide_fit.learned(trips(1, 1, 90.0))


def test_where_there_is_no_tide_it_says_that_it_foretells_nothing():
    told = [tide_fit.learned(trips(seed, 14, 90.0, strength=0.0)) for seed in range(8)]
    assert sum(isinstance(one, str) for one in told) >= 7  # one in twenty may seem better, by 95 %
    assert "foretells no day better" in next(one for one in told if isinstance(one, str))


def test_priors_are_in_proportion_to_the_equilibrium_tide():
    # coefficients of the equilibrium tide, Schureman, table 2 (from memory)
    doodson = {"M2": 0.9085, "K1": 0.5305, "O1": 0.3771, "S2": 0.4227, "N2": 0.1759}
    for name, share in tide_fit.EQUILIBRIUM.items():
        assert share == pytest.approx(doodson[name] / doodson["M2"], abs=1e-3)
