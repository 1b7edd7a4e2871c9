"""The pack's health from what a log has kept; invented trips."""

from dataclasses import asdict
from types import SimpleNamespace

import numpy as np

from analyzer.answers.health import trends
from analyzer.learned.keys import GAUGE
from analyzer.pack.capacity import TripCharge, from_gauge
from analyzer.series.series import Series
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)


def log(trips):
    """As much of a log as the question takes."""
    kept = [SimpleNamespace(value=asdict(t)) for t in trips]
    store = SimpleNamespace(learned=lambda key: kept if key == GAUGE else [])
    return SimpleNamespace(store=store, boat=SimpleNamespace(pack=PACK))


def trip(number, ah_per_whole, change=0.4):
    return TripCharge(f"trip {number}", number, ah_per_whole * change, change, 0.006)


def test_pack_tells_the_capacity_that_the_trips_agree_on():
    found = trends.pack(log([trip(1, 190), trip(2, 192), trip(3, 188), trip(4, 190)]))
    assert any("4 trips agree on 190 Ah" in text for text in found.remarks)


def test_pack_names_the_trip_whose_gauge_is_wrong():
    odd = TripCharge("trip 5", 5, 60.0, -0.1, 0.006)
    found = trends.pack(log([trip(1, 190), trip(2, 192), trip(3, 188), odd]))
    assert any("3 trips agree on" in text for text in found.remarks)
    assert any(text.startswith("Trip 5: its gauge went up") for text in found.remarks)


def test_pack_says_nothing_of_a_gauge_that_is_not_there():
    assert not any("gauge" in text for text in trends.pack(log([])).remarks)


def test_from_gauge_does_not_count_across_a_lost_current():
    amps = np.full(3600, 40.0)
    said = np.linspace(0.9, 0.7, 3600)
    whole = Series(0, 1.0, 3600, {"pack_current_a": amps, "pack_soc_frac": said})
    # 40 Ah over 20 %
    assert abs(from_gauge("trip", whole).capacity_ah - 200) < 1
    lost = np.where(np.arange(3600) % 1800 > 1200, np.nan, amps)
    gaps = Series(0, 1.0, 3600, {"pack_current_a": lost, "pack_soc_frac": said})
    assert from_gauge("trip", gaps) is None
