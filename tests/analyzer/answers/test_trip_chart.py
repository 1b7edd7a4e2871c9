"""What a trip's charts show beside its channels, on the demo's outing."""

import numpy as np
import pytest

from analyzer.answers import range_left, trip_chart
from analyzer.answers.health import now as health

CHANNELS = ("pack_voltage_v", "pack_current_a", "controller_voltage_v", "latitude_deg")


@pytest.fixture(scope="module")
def trip(demo):
    return trip_chart.trip_series(demo, None, CHANNELS)


def test_power_is_volts_times_amperes(trip):
    volts, amps = (trip.series.get(n) for n in CHANNELS[:2])
    np.testing.assert_array_equal(trip.series.get("power_w"), volts * amps)


def test_sag_terms_add_up_to_what_lies_between_rest_and_load(trip):
    terms = sum(trip.series.get(f"sag_{name}") for name, _ in trip_chart.SAG_TERMS)
    left = trip.series.get("rest_v") - terms
    known = np.isfinite(left)
    assert known.mean() > 0.95
    np.testing.assert_allclose(left[known], trip.series.get("controller_voltage_v")[known])


def test_fan_holds_the_lowest_cell_which_is_the_demos_weak_one(trip):
    low, own, high = (trip.series.get(f"cells_{k}_v") for k in ("low", "lowest", "high"))
    known = np.isfinite(own)
    assert np.all((low <= own)[known] & (own <= high)[known])
    assert trip.lowest == "cell_11_voltage_v"


def test_settled_line_ends_where_the_health_answer_says(demo, trip):
    rows = {row.name: row for row in health.cables(demo).rows}
    for probe, column in trip.probes.items():
        name = probe.removeprefix("probe_").removesuffix("_temp_c")
        settles = rows[name].settles_at
        assert settles.low <= trip.series.get(column)[-1] <= settles.high
    lug = trip.series.get(trip.probes["probe_battery_negative_temp_c"])
    before, loose = lug[-3000], lug[-600]  # the lug loosens on the way home
    assert loose > before + 20


def test_a_stretch_of_a_trip_is_finer_than_the_whole(trip):
    whole = trip_chart.trip_plot(trip, 500)
    start = trip.series.t0_us / 1e6
    part = trip_chart.trip_plot(trip, 500, start + 600, start + 1000)
    assert len(whole.plot.t_utc_s) <= 500
    assert part.plot.t_utc_s[0] == pytest.approx(start + 600, abs=1)
    assert part.plot.t_utc_s[1] - part.plot.t_utc_s[0] == 1.0
    assert part.plot.t_utc_s[-1] == pytest.approx(start + 1000, abs=2)


def test_reach_is_longest_with_the_stream_and_agrees_with_the_answer(demo):
    """The range answer speaks of the course held; the stream sets to 119 degrees there."""
    around = trip_chart.around(demo, None)
    far = {course: d.mid for course, d in around.rows}
    assert abs(max(far, key=far.__getitem__) - 119) <= 30
    assert min(far.values()) < 0.8 * max(far.values())
    answer = range_left.range_left(demo)
    assert min(far.values()) <= answer.distance.mid * 1.05
    assert max(far.values()) >= answer.distance.mid * 0.95
    assert around.speed_water_mps == pytest.approx(answer.speed_water_mps, rel=0.03)
