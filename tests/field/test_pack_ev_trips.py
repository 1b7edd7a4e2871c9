"""Capacity of a real car's battery, another chemistry, learned from its trips.

Data: ev_road_trips (its README names the source): 61.2 to 62.1 Ah per 100 % of the car's own
charge in every trip with good values; the publisher's overview of trip A31 is wrong.
"""

import csv

import numpy as np
import pytest

from analyzer.pack.capacity import TripCharge, from_gauge, learn
from analyzer.series.series import Series

pytestmark = pytest.mark.field


@pytest.fixture(scope="module")
def records(shared_data):
    """Trip -> what its record says."""
    out = {}
    for path in sorted((shared_data / "ev_road_trips").glob("trip_*.csv")):
        table = np.genfromtxt(path, delimiter=",", names=True)
        amps, said = table["discharge_current_A"], table["soc_percent"] / 100
        series = Series(0, 1.0, len(amps), {"pack_current_a": amps, "pack_soc_frac": said})
        out[path.stem[5:]] = from_gauge(path.stem[5:], series)
    return out


@pytest.fixture(scope="module")
def overview(shared_data, records):
    """The same trips with the charge that the overview gives."""
    out = []
    with (shared_data / "ev_road_trips" / "trips.csv").open() as file:
        for line in csv.DictReader(file):
            trip = records[line["trip"]]
            change = float(line["soc_start"]) - float(line["soc_end"])
            out.append(TripCharge(trip.name, 0, trip.given_ah, change, trip.change_sd))
    return out


def _show(title, found):
    e = found.estimate
    print(f"\n{title}: {e.mid:.2f} Ah ({e.low:.2f} to {e.high:.2f}) from {len(found.used)} trips")
    for name, why in found.left_out.items():
        print(f"  {name}: {why}")


def test_capacity_from_the_records(records):
    found = learn(list(records.values()))
    _show("by the record's own gauge", found)
    assert len(found.used) >= 10
    assert abs(found.estimate.mid - 61.7) <= 1.5
    assert found.estimate.low < 61.7 < found.estimate.high
    assert found.estimate.high - found.estimate.low < 3.0


def test_trip_whose_gauge_is_wrong_is_not_believed(overview):
    found = learn(overview)
    _show("by the overview", found)
    assert "A31" in found.left_out
    assert "not believed" in found.left_out["A31"]
    assert len(found.used) >= 10
    assert abs(found.estimate.mid - 61.7) <= 1.5
