"""The split of a trip's volts on a circuit whose parts are known: made here, by hand."""

import math

import numpy as np
import pytest

from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from analyzer.trips import sag_design
from analyzer.trips.sag_design import lagged
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.sag_split import _smoothed, split
from logger.boat import Pack
from tests.support.motor_boat import motor_boat

AH, CELLS = 200.0, 16
R0, R1, R2, TAU1, TAU2 = 0.4e-3, 0.2e-3, 0.3e-3, 25.0, 600.0
BOAT = motor_boat(pack=Pack(chemistry="lfp", cells_in_series=CELLS, rated_capacity_ah=AH))


def outing(factor: float = 1.0, temp_c: float = 25.0, seed: int = 0) -> tuple[Series, np.ndarray]:
    """Two hours from a rest, and the true losses: ohmic and polarisation, shape (2, n). [V]

    The discrete circuit is the exact one for a current held over each second.
    """
    rng = np.random.default_rng(seed)
    level = np.repeat([0, 40, 80, 0, 60, 20, 70, 0, 50], 900)
    amps = level * (1 + 0.04 * rng.standard_normal(len(level)))
    losses = np.zeros((2, len(amps)))
    y = np.zeros(2)
    keep = np.exp(-1.0 / np.array([TAU1, TAU2]))
    for k, i in enumerate(amps.tolist()):
        losses[:, k] = factor * R0 * i, factor * y.sum()
        y = keep * y + (1 - keep) * np.array([R1, R2]) * i
    soc = 0.85 - np.cumsum(amps) / 3600 / AH
    rest = chemistry("lfp").ocv_v(soc, temp_c, -1.0)
    volts = CELLS * (rest - losses.sum(axis=0)) + rng.normal(0, 0.01, len(amps))
    values = {
        "pack_voltage_v": np.round(volts, 2),
        "pack_current_a": np.round(amps, 1),
        "pack_temp_c": np.full(len(amps), temp_c),
    }
    return Series(10**15, 1.0, len(amps), values), CELLS * losses


def fitted(series: Series):
    start = known(BOAT.pack, 0.85, 0.02, t_us=series.t0_us)
    return split(series, track(series, BOAT.pack, start), BOAT)


def test_lagged_is_the_first_order_answer_to_a_step():
    step = np.r_[np.zeros(10), np.ones(2000)][:, None]
    (at,) = lagged(step, np.array([600.0]), 1.0)[10 + 600]
    # 1 - exp(-t/tau) at one time constant; the step lies within half a second of a reading.
    assert at == pytest.approx(1 - math.exp(-1), abs=0.002)
    np.testing.assert_array_equal(lagged(step, np.array([0.0]), 1.0), step)


def test_losses_of_a_known_circuit_are_found():
    series, true = outing()
    got = fitted(series).series()
    loaded = series.get("pack_current_a") > 40
    assert np.mean(got["ohmic_v"][loaded]) == pytest.approx(np.mean(true[0][loaded]), rel=0.08)
    assert np.mean(got["polar_v"][loaded]) == pytest.approx(np.mean(true[1][loaded]), rel=0.15)


def test_ranges_hold_the_truth_over_several_trips():
    held = []
    for seed in range(4):
        series, true = outing(seed=seed)
        chosen, rest = np.zeros(series.n, bool), np.zeros(series.n, bool)
        chosen[6000:6010] = rest[890:899] = True
        terms = fitted(series).terms(chosen, rest)
        for name, volts in (("resistance", true[0]), ("polarisation", true[1])):
            mean, sd = terms[name]
            held.append(abs(mean - volts[chosen].mean()) < 2.5 * sd + 0.02)
    assert np.mean(held) >= 0.9


def test_parts_and_whole_agree_and_at_25_degrees_there_is_no_cold():
    series, _ = outing()
    fit = fitted(series)
    got = fit.series()
    chosen, rest = np.zeros(series.n, bool), np.zeros(series.n, bool)
    chosen[6000:6010] = rest[890:899] = True
    terms = fit.terms(chosen, rest)
    assert terms["resistance"][0] == pytest.approx(got["ohmic_25_v"][chosen].mean(), rel=1e-9)
    assert terms["polarisation"][0] == pytest.approx(got["polar_25_v"][chosen].mean(), rel=1e-9)
    drop = got["rest_v"][rest].mean() - got["rest_v"][chosen].mean()
    assert terms["charge used"][0] == pytest.approx(drop, abs=1e-9)
    assert terms["cold"][0] == pytest.approx(0.0, abs=1e-9)
    parts = [m for name, (m, _) in terms.items() if name not in ("slow", "all")]
    assert terms["all"][0] == pytest.approx(sum(parts))
    # Terms that trade off against each other are known better together than apart.
    apart = math.hypot(terms["charge used"][1], terms["polarisation"][1])
    assert terms["slow"][1] < apart


def test_a_cold_pack_s_doubt_lies_in_the_cold():
    warm, cold = (fitted(outing(f, t)[0]) for f, t in ((1.0, 25.0), (1.8, 5.0)))
    chosen, rest = np.zeros(warm.curve_v.size, bool), np.zeros(warm.curve_v.size, bool)
    chosen[6000:6010] = rest[890:899] = True
    sd = [fit.terms(chosen, rest)["cold"][1] for fit in (warm, cold)]
    assert sd[1] > 0.05 > sd[0]


def test_a_pack_that_lay_still_is_not_split():
    series, _ = outing()
    series.values["pack_current_a"][:] = 0.3
    assert fitted(series) is None


def cold_factor(share: float, temp_c: float) -> float:
    """1 - w + w exp(33.8 kJ/mol / R (1/T - 1/298.15)), worked out here by hand."""
    return 1 - share + share * math.exp(33.8e3 / 8.314462618 * (1 / (temp_c + 273.15) - 1 / 298.15))


@pytest.mark.parametrize("share", [0.25, 0.7])
def test_trips_at_other_temperatures_tell_how_a_pack_takes_the_cold(share):
    series, true = outing(cold_factor(share, 4.0), 4.0)
    start = known(BOAT.pack, 0.85, 0.02, t_us=series.t0_us)
    charge = track(series, BOAT.pack, start)
    chosen, rest = np.zeros(series.n, bool), np.zeros(series.n, bool)
    chosen[6000:6010] = rest[890:899] = True
    alone = split(series, charge, BOAT).terms(chosen, rest)["resistance"]
    warm = cold_factor(share, 24.0)
    found = (R0 * warm, R1 * warm, R2 * warm)
    summer = Earlier(24.0, found, (0.02, 0.03, 0.1))
    taught = split(series, charge, BOAT, [summer]).terms(chosen, rest)["resistance"]
    at_25 = true[0][chosen].mean() / cold_factor(share, 4.0)
    print(f"\n{at_25:.3f} V at 25 °C; alone {alone}, with a summer's trip {taught}")
    assert taught[1] < alone[1]
    assert abs(taught[0] - at_25) < 0.12 * at_25


def test_a_pack_that_has_changed_is_not_talked_out_of_it():
    """Eight trips before knew a pack of a quarter less."""
    series, _ = outing(1.25)
    charge = track(series, BOAT.pack, known(BOAT.pack, 0.85, 0.02, t_us=series.t0_us))
    then = [Earlier(20.0 + k, (R0, R1, R2), (0.01, 0.03, 0.1)) for k in range(8)]
    found = split(series, charge, BOAT, then).resistances()[0][0]
    assert found == pytest.approx(1.25 * CELLS * R0, rel=0.06)


def test_resistances_are_those_of_the_circuit():
    (ohmic, ohmic_sd), (polar, polar_sd) = fitted(outing()[0]).resistances()
    assert ohmic == pytest.approx(CELLS * R0, rel=0.08)
    assert polar == pytest.approx(CELLS * (R1 + R2), rel=0.2)
    assert 0 < ohmic_sd < 0.1 * ohmic
    assert 0 < polar_sd < 0.3 * polar


def test_a_long_trip_is_split_like_a_short_one():
    """Taken in steps of two seconds it must find the same circuit."""
    series, true = outing()
    names = tuple(series.values)
    two = Series(series.t0_us, 1.0, 2 * series.n, {n: np.tile(series.values[n], 2) for n in names})
    soc = 0.95 - np.cumsum(two.values["pack_current_a"]) / 3600 / AH
    rest = chemistry("lfp").ocv_v(soc, 25.0, -1.0)
    two.values["pack_voltage_v"][:] = np.round(CELLS * rest - np.tile(true.sum(axis=0), 2), 2)
    start = known(BOAT.pack, 0.95, 0.02, t_us=two.t0_us)
    fit = split(two, track(two, BOAT.pack, start), BOAT)
    assert fit.steps.count[0] == 2
    long = fit.series()
    loaded = two.get("pack_current_a") > 40
    assert len(long["ohmic_v"]) == two.n
    ohmic = np.tile(true[0], 2)[loaded].mean()
    assert long["ohmic_v"][loaded].mean() == pytest.approx(ohmic, rel=0.08)
    assert np.isfinite(long["rest_v"]).all()


def test_choices_are_shares_and_time_constants_that_leave_no_gap():
    """A share lies between none and all; a pair between two time constants, each about 1.7 times
    the one before, is told by both."""
    for shares in (sag_design.SHARES0, sag_design.SHARES1):
        assert 0 < shares[0] < shares[-1] < 1
        assert (np.diff(shares) > 0).all()
    for taus in (sag_design.TAU1_S, sag_design.TAU2_S):
        np.testing.assert_allclose(np.divide(taus[1:], taus[:-1]), 1.7, atol=0.1)


@pytest.mark.parametrize("n", [9, 10, 40])
def test_smoothing_is_a_mean_over_a_window_that_fits(n):
    """Ten steps to either side, or as many as a short trip has around its middle."""
    values = np.random.default_rng(n).normal(size=n)
    half = min(10, (n - 1) // 2)
    want = [values[max(k - half, 0) : k + half + 1].mean() for k in range(n)]
    np.testing.assert_allclose(_smoothed(values, 20), want)
