"""What the charts show; figures worked out by hand from the invented plot."""

import numpy as np
import pytest

from analyzer.faces import chart_data, charts
from analyzer.results import Plot


@pytest.fixture
def by_text(invented):
    return {chart.text: chart for chart in chart_data.charts(invented.plot())}


def test_units_are_those_a_sailor_reads(by_text):
    assert by_text["speed, kn"].lines[0].values[0] == pytest.approx(3.888, abs=1e-3)  # 2 m/s
    assert by_text["power, kW"].lines[0].values[0] == pytest.approx(2.08)  # 52 V * 40 A


def test_gaps_stay_gaps(by_text):
    assert np.isnan(by_text["voltage, V"].lines[0].values[7])
    assert np.isnan(by_text["power, kW"].lines[0].values[7])


def test_cells_are_a_fan_about_their_mean_and_the_lowest_is_named(by_text):
    cells = by_text["cells off their mean, mV"]
    low, high = cells.fan
    # 3.30, 3.30 and 3.24 V: mean 3.28 V
    assert low[0] == pytest.approx(-40.0)
    assert high[0] == pytest.approx(20.0)
    assert cells.lines[0].text.startswith("cell 3")


def test_charts_without_channels_are_left_out():
    bare = Plot([0.0, 1.0], {"pack_voltage_v": [50.0, 50.1], "pack_current_a": [None, None]})
    assert [chart.text for chart in chart_data.charts(bare)] == ["voltage, V"]
    assert chart_data.charts(Plot()) == []
    assert chart_data.track(bare) is None


def test_track_is_in_miles_from_the_start(invented):
    way = chart_data.track(invented.plot())
    assert way.north_nmi[60] == pytest.approx(0.6)  # 60/6000 of a degree, 60 nmi to the degree
    assert way.east_nmi[60] == 0.0


def test_track_shrinks_longitude_away_from_the_equator():
    plot = Plot([0.0, 1.0], {"latitude_deg": [60.0, 60.0], "longitude_deg": [5.0, 5.1]})
    assert chart_data.track(plot).east_nmi[1] == pytest.approx(3.0)  # 6 nmi * cos 60°


def test_wanted_takes_families_and_leaves_the_rest():
    held = (
        "cell_07_voltage_v",
        "block_1_voltage_v",
        "probe_lug_temp_c",
        "depth_m",
        "pack_voltage_v",
    )
    assert chart_data.wanted(held) == (*held[:3], "pack_voltage_v")


@pytest.mark.parametrize("look", ["day", "night", "contrast", "no such look"])
def test_item_is_made_in_every_look_even_of_nothing(invented, look):
    items = charts.trip_items(invented.plot(), [invented.flag()], look)
    assert len(items) == 3  # the first charts, the others, the track
    assert all(item["root_id"] for item in items)
    assert charts.trip_items(Plot(), [], look) == []
