"""What the charts show; figures worked out by hand from the invented plot."""

import numpy as np
import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import Plot
from analyzer.faces.charts import bokeh_charts, columns


@pytest.fixture
def by_text(invented):
    found = invented.trip_plot()
    every = columns.way_charts(found.plot)
    every += columns.pack_charts(found.plot, found.lowest, found.probes)
    return {chart.text: chart for chart in every}


def test_units_are_those_a_sailor_reads(by_text):
    assert by_text["speed, kn"].lines[0].values[0] == pytest.approx(3.888, abs=1e-3)  # 2 m/s
    assert by_text["power, kW"].lines[0].values[0] == pytest.approx(2.08)  # 52 V * 40 A


def test_gaps_stay_gaps(by_text):
    assert np.isnan(by_text["voltage, V, and what took it down"].lines[0].values[7])
    assert np.isnan(by_text["power, kW"].lines[0].values[7])


def test_volts_are_stacked_from_rest_down_to_what_was_measured(by_text):
    volts = by_text["voltage, V, and what took it down"]
    assert [layer.text for layer in volts.layers] == ["charge used", "resistance"]  # no cold: 0 V
    assert volts.edges[volts.layers[0].upper][0] == 53.0
    assert volts.edges[volts.layers[0].lower][0] == pytest.approx(52.4)
    np.testing.assert_allclose(volts.edges[volts.layers[1].lower], volts.lines[0].values)


def test_cells_are_a_fan_about_their_mean_and_the_lowest_is_named(by_text):
    cells = by_text["cells off their mean, mV"]
    # 3.30, 3.30 and 3.24 V: mean 3.28 V
    assert cells.edges[cells.layers[0].lower][0] == pytest.approx(-40.0)
    assert cells.edges[cells.layers[0].upper][0] == pytest.approx(20.0)
    assert cells.lines[0].text.startswith("cell 3")


def test_a_probe_has_the_line_of_where_it_would_settle(by_text):
    probe, settles = by_text["cables, °C; dotted: will settle"].lines
    assert (probe.text, probe.predicted) == ("lug", False)
    assert settles.predicted
    assert settles.values[0] == 48.0


def test_the_log_shows_the_band_of_the_cells_as_they_stand(invented):
    every = {chart.text: chart for chart in columns.log_charts(invented.plot())}
    band = every["cells, V"]
    assert band.edges["band_low"][0] == 3.24
    assert band.edges["band_high"][0] == 3.30
    assert list(every) == ["speed, kn", "current, A", "voltage, V", "cells, V", "cables, °C"]


def test_charts_without_channels_are_left_out():
    bare = Plot([0.0, 1.0], {"pack_voltage_v": [50.0, 50.1], "pack_current_a": [None, None]})
    assert [chart.text for chart in columns.pack_charts(bare)] == ["voltage, V"]
    assert columns.way_charts(bare) == []
    assert columns.log_charts(Plot()) == []
    assert columns.track(bare) is None


def test_two_trips_lie_over_each_other_from_their_starts(invented):
    one = invented.trip_plot().plot
    later = Plot([t + 86_400 for t in one.t_utc_s[:90]], {"power_w": one.series["power_w"][:90]})
    both = columns.together([one, later], points=180)
    assert columns.times_ms(both)[0] == 0.0
    first, second = (both.series[f"power_w_{k}"] for k in (0, 1))
    assert first[:7] == pytest.approx(one.series["power_w"][:7])
    assert second[20] == first[20]
    assert second[100] is None  # the second trip was over
    shown = columns.two_trips(both, ("trip 1", "trip 2"))
    assert [line.text for line in shown[-1].lines] == ["trip 1", "trip 2"]


def test_reach_lies_around_the_end_of_the_track(invented):
    rows = [(course, Estimate(2 * 1852.0, 1852.0, 3 * 1852.0, "m")) for course in (0, 90, 180, 270)]
    low, mid, high = columns.rings(invented.plot(), (46.5, -24.0), rows)
    # half a degree north of the start is 30 nmi
    np.testing.assert_allclose(low.north_nmi, [31, 30, 29, 30], atol=1e-9)
    np.testing.assert_allclose(mid.east_nmi, [0, 2, 0, -2], atol=1e-9)
    assert high.north_nmi[0] == pytest.approx(33)


def test_track_is_in_miles_from_the_start(invented):
    way = columns.track(invented.plot())
    assert way.north_nmi[60] == pytest.approx(0.6)  # 60/6000 of a degree, 60 nmi to the degree
    assert way.east_nmi[60] == 0.0


def test_track_shrinks_longitude_away_from_the_equator():
    plot = Plot([0.0, 1.0], {"latitude_deg": [60.0, 60.0], "longitude_deg": [5.0, 5.1]})
    assert columns.track(plot).east_nmi[1] == pytest.approx(3.0)  # 6 nmi * cos 60°


def test_wanted_takes_families_and_leaves_the_rest():
    held = (
        "cell_07_voltage_v",
        "block_1_voltage_v",
        "probe_lug_temp_c",
        "depth_m",
        "pack_voltage_v",
    )
    assert columns.wanted(held) == (*held[:3], "pack_voltage_v")


@pytest.mark.parametrize("look", ["day", "night", "contrast", "no such look"])
def test_item_is_made_in_every_look_and_none_of_nothing(invented, look):
    found = invented.trip_plot()
    shown = columns.pack_charts(found.plot, found.lowest, found.probes)
    assert bokeh_charts.group(shown, found.plot, [invented.flag()], look)["root_id"]
    way = columns.track(found.plot)
    assert bokeh_charts.track(way, None, look)["root_id"]
    assert bokeh_charts.group([], Plot(), [], look) is None


def test_an_area_has_no_height_where_nothing_was_measured():
    edges = {
        "low": np.array([np.nan, 1.0, 1.5, np.nan, np.nan, 1.0]),
        "high": np.array([np.nan, 2.0, 2.5, np.nan, np.nan, 2.0]),
    }
    drawn = columns.unbridged(edges)
    thick = drawn["high"] - drawn["low"]
    assert thick.tolist() == [0.0, 1.0, 1.0, 0.0, 0.0, 1.0]
    assert np.isfinite(drawn["low"]).all()


def test_a_track_across_the_date_line_stays_in_one_piece(invented):
    plot = invented.plot()
    many = len(plot.t_utc_s)
    plot.series["latitude_deg"] = [0.0] * many
    plot.series["longitude_deg"] = [179.9 if k < many // 2 else -179.9 for k in range(many)]
    way = columns.track(plot)
    # 0.2 degrees of the equator are 12 nautical miles, by what a nautical mile was
    assert float(way.east_nmi.max() - way.east_nmi.min()) == pytest.approx(12.0, abs=0.01)
