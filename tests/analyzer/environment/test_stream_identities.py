"""Streams drawn ahead against sums over small steps, tables against quadrature."""

import json

import numpy as np
import pytest

from analyzer.environment.stream import (
    Stream,
    StreamDraws,
    given,
    part_sds,
    unknown,
)
from analyzer.environment.stream_table import StreamTable, TableStream, read_stream_table

TIDE_S = 0.51753 * 86400.0  # half a lunar day and 25 minutes: the semi-diurnal tide
EDDY_S = 7200.0


def some_draws(n: int = 6) -> StreamDraws:
    rng = np.random.default_rng(1)
    return StreamDraws(
        rng.normal(0, 0.4, (n, 2, 4)), rng.uniform(0, 0.3, n), rng.standard_normal((n, 2))
    )


def old_part(draws: StreamDraws, i: int, c: int, t_s: float) -> float:
    """One component of one draw at a time from now, without what eddies still bring."""
    steady, cos, sin, eddy = draws.parts[i, c]
    angle = 2 * np.pi * t_s / TIDE_S
    return steady + cos * np.cos(angle) + sin * np.sin(angle) + eddy * np.exp(-t_s / EDDY_S)


@pytest.mark.parametrize("t_s", [0.0, 900.0, 7200.0, 30_000.0])
def test_stream_at_a_time(t_s):
    draws = some_draws()
    both = draws.at_each(np.full(6, t_s))
    # an eddy that forgets: what it has lost of its variance comes back as something new
    new = np.sqrt(1 - np.exp(-2 * t_s / EDDY_S))
    for c in (0, 1):
        want = [
            old_part(draws, i, c, t_s) + new * draws.eddy_mps[i] * draws.normal[i, c]
            for i in range(6)
        ]
        np.testing.assert_allclose(both[c], want, atol=1e-12)
    if t_s == 0:
        np.testing.assert_allclose(both, draws.now(), atol=1e-12)


def mean_variance(duration_s: float) -> float:
    """Variance of the mean of an eddy of size 1 that is known now, by summing its covariance."""
    t = (np.arange(800) + 0.5) * duration_s / 800 / EDDY_S
    return float(np.mean(np.exp(-abs(t[:, None] - t)) - np.exp(-(t[:, None] + t))))


@pytest.mark.parametrize("duration_s", [600.0, 5_000.0, 20_000.0, 100_000.0])
def test_mean_stream_is_the_mean_over_small_steps(duration_s):
    draws = some_draws()
    both = draws.mean_over(np.full((6, 1), duration_s))
    t = (np.arange(4000) + 0.5) * duration_s / 4000
    new = np.sqrt(mean_variance(duration_s))
    for c in (0, 1):
        for i in range(6):
            want = np.mean([old_part(draws, i, c, s) for s in t])
            want += new * draws.eddy_mps[i] * draws.normal[i, c]
            assert both[c][i, 0] == pytest.approx(want, abs=2e-4)


def test_mean_over_no_time_is_now():
    draws = some_draws()
    np.testing.assert_allclose(
        np.array(draws.mean_over(np.zeros((6, 1))))[:, :, 0], draws.now(), atol=1e-3
    )


def test_any_tide_is_the_same_tide_at_another_time():
    draws = some_draws()
    moved = draws.at_any_tide(np.random.default_rng(3))
    moments = np.linspace(0, TIDE_S, 721)
    for i in range(6):
        angle = 2 * np.pi * moments / TIDE_S
        old = draws.parts[i, :, 1, None] * np.cos(angle) + draws.parts[i, :, 2, None] * np.sin(
            angle
        )
        at_now = moved.parts[i, :, 1]
        # one and the same time of the old tide gives both components of the new one
        gap = np.abs(old - at_now[:, None]).max(axis=0)
        k = int(np.argmin(gap))
        assert gap[k] < 0.01
        later = (k + 90) % 720  # an eighth of a tide on
        eighth = np.pi / 4
        new = at_now * np.cos(eighth) + moved.parts[i, :, 2] * np.sin(eighth)
        np.testing.assert_allclose(old[:, later], new, atol=0.02)
    np.testing.assert_array_equal(moved.parts[:, :, (0, 3)], draws.parts[:, :, (0, 3)])


def test_an_unknown_time_of_the_tide_is_any_as_likely_as_another():
    # over a whole turn the mean of either part is nothing, and its square half the amplitude's
    n = 100_000
    parts = np.tile(np.array([[0.1, 0.6, 0.0, 0.0], [0.0, 0.0, 0.4, 0.0]]), (n, 1, 1))
    draws = StreamDraws(parts, np.zeros(n), np.zeros((n, 2)))
    moved = draws.at_any_tide(np.random.default_rng(8)).parts
    for column in (1, 2):
        np.testing.assert_allclose(moved[:, :, column].mean(axis=0), [0.0, 0.0], atol=0.008)
        squares = np.square(moved[:, :, column]).mean(axis=0)
        np.testing.assert_allclose(squares, [0.6**2 / 2, 0.4**2 / 2], rtol=0.02)


def test_an_unknown_stream_has_the_spread_of_streams_of_all_kinds():
    # sizes 0.08, 0.25, 0.75 m/s; steady half the size and tide's two parts of the size, or steady
    # the size and a tenth of it tide; eddies 0.35 of it and 0.02 m/s; all equally likely (common
    # practice, no source; stream.py)
    n, rng = 400_000, np.random.default_rng(2)
    size = rng.choice([0.08, 0.25, 0.75], n)
    shares = np.array([[0.5, 1.0], [1.0, 0.1]])[rng.integers(0, 2, n)]
    normal = rng.standard_normal((3, n))
    eddy = (0.35 * size + 0.02) * normal[2]
    now = shares[:, 0] * size * normal[0] + shares[:, 1] * size * normal[1] + eddy
    stream = unknown("nothing is known")
    assert stream.cov[0, 0, 0] == pytest.approx(now.var(), rel=0.015)
    assert stream.cov[0, 1, 1] == stream.cov[0, 0, 0]
    east, north = stream.draws(n, np.random.default_rng(4))
    for drawn in (east, north):
        # not one normal distribution: most streams are weak, and some are strong
        quantiles = np.array([0.02, 0.1, 0.25, 0.75, 0.9, 0.98])
        np.testing.assert_allclose(
            np.quantile(drawn, quantiles), np.quantile(now, quantiles), atol=0.012
        )
    assert stream.eddy_mps == pytest.approx(eddy.std(), rel=0.01)
    assert not stream.known
    np.testing.assert_allclose(part_sds(0.4, 0), [0.2, 0.4, 0.4, 0.16])
    np.testing.assert_allclose(part_sds(0.4, 1), [0.4, 0.04, 0.04, 0.16])


def test_a_stream_of_many_kinds_survives_json():
    stream = unknown("nothing is known")
    again = Stream.from_dict(json.loads(json.dumps(stream.to_dict())))
    for one, other in zip(
        stream.paths(50, np.random.default_rng(1)).now(),
        again.paths(50, np.random.default_rng(1)).now(),
        strict=True,
    ):
        np.testing.assert_array_equal(one, other)


def test_a_stream_given_by_a_person_is_drawn_about_it_and_stays():
    stream = given(0.8, 120.0, sd_mps=0.1)
    draws = stream.paths(100_000, np.random.default_rng(1))
    want = 0.8 * np.array([np.sin(np.radians(120)), np.cos(np.radians(120))])
    np.testing.assert_allclose(np.mean(draws.now(), axis=1), want, atol=1e-3)
    np.testing.assert_allclose(np.std(draws.now(), axis=1), 0.1, rtol=0.01)
    later = draws.mean_over(np.full((100_000, 1), 9e4))
    np.testing.assert_allclose(np.array(later)[:, :, 0], draws.now(), atol=1e-12)
    assert (stream.speed_mps, stream.toward_deg) == pytest.approx((0.8, 120.0))
    assert stream.sd_mps == pytest.approx(0.1)
    assert stream.toward_sd_deg == pytest.approx(np.degrees(0.1 / 0.8))


def some_table() -> StreamTable:
    rng = np.random.default_rng(5)
    t = 1_000.0 + np.cumsum(rng.uniform(1_000, 4_000, 20))
    return StreamTable(t, rng.normal(0, 0.5, 20), rng.normal(0, 0.5, 20))


def test_tables_mean_is_quadrature_over_the_time_ahead():
    table, start = some_table(), 6_200.0
    durations = np.array([[400.0, 3_000.0], [9_900.0, 60_000.0]])  # the last runs past the table
    got = table.mean_over(start, durations)
    for index, duration in np.ndenumerate(durations):
        t = start + (np.arange(20_000) + 0.5) * duration / 20_000
        for part, column in zip(got, (table.east_mps, table.north_mps), strict=True):
            want = np.mean(np.interp(t, table.t_s, column))
            assert part[index] == pytest.approx(want, abs=0.01)


def test_draws_of_a_table_scale_it_and_move_it():
    # a table is off by 15 % of its strength and by 0.12 m/s (common practice, no source)
    table, n = some_table(), 50_000
    tables = TableStream.around(table, n, np.random.default_rng(6))
    at = np.full(n, 9_000.0)
    for drawn, mean in zip(tables.at(at), table.at(at), strict=True):
        assert drawn.mean() == pytest.approx(mean[0], abs=3e-3)
        assert drawn.std() == pytest.approx(np.hypot(0.15 * mean[0], 0.12), rel=0.02)
    strong = StreamTable(np.array([0.0, 1e5]), np.full(2, 2.0), np.zeros(2))
    east, north = TableStream(strong, tables.scale, tables.off).at(at)
    assert east.std() == pytest.approx(np.hypot(0.15 * 2.0, 0.12), rel=0.02)
    assert north.std() == pytest.approx(0.12, rel=0.02)
    few = TableStream(table, tables.scale[:5], tables.off[:5])
    spans = np.full((5, 2), 4_000.0)
    for c, (means, plain) in enumerate(
        zip(few.mean_over(3_000.0, spans), table.mean_over(3_000.0, spans), strict=True)
    ):
        np.testing.assert_allclose(means, few.scale[:, None] * plain + few.off[:, c, None])


def test_a_table_s_rows_are_taken_in_the_order_of_their_times(tmp_path):
    rows = "2026-07-01T08:00Z,1.0,180\n2026-07-01T06:00Z,2.0,90\n2026-07-01T07:00Z,0,0\n"
    (tmp_path / "stream.csv").write_text("utc,speed_kn,toward_deg\n" + rows)
    table = read_stream_table(tmp_path / "stream.csv", 0.0)
    begin_s = 1_782_885_600.0  # 2026-07-01T06:00Z
    np.testing.assert_allclose(table.t_s, begin_s + np.array([0.0, 3600.0, 7200.0]))
    knot = 1852 / 3600
    east, north = table.at(begin_s + np.array([0.0, 1800.0, 5400.0, 9999.0]))
    np.testing.assert_allclose(east, np.array([2.0, 1.0, 0.0, 0.0]) * knot, atol=1e-9)
    np.testing.assert_allclose(north, np.array([0.0, 0.0, -0.5, -1.0]) * knot, atol=1e-9)
