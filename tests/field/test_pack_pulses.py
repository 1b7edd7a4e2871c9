"""28 retired 35 Ah LFP cells, one by one at ten charge levels: sag, and strings made of them.

Data: lfp_35ah_retired_pulses (its README names the source). A string is sixteen rows of one
level put in series: rest, then the published pulses.
"""

import os

import numpy as np
import pytest

from analyzer.cells.monitor import CellMonitor
from analyzer.series.series import Series
from logger.boat import Pack
from logger.channels import cell_voltage

pytestmark = pytest.mark.field

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=35)
DRAWS = 1000 if os.environ.get("KEELWATT_FULL") else 120
# (first reading, last reading, current when it gives, seconds) between the published voltages
PARTS = [("U1", "U1", 0.0, 600), ("U2", "U3", -17.5, 5), ("U4", "U5", 0.0, 75),
         ("U6", "U7", 17.5, 5), ("U8", "U9", 0.0, 75), ("U10", "U11", -35.0, 5),
         ("U12", "U13", 0.0, 75), ("U14", "U15", 35.0, 5), ("U16", "U17", 0.0, 75)]  # fmt: skip


@pytest.fixture(scope="module")
def table(shared_data):
    path = shared_data / "lfp_35ah_retired_pulses" / "pulse_voltages.csv"
    return np.genfromtxt(path, delimiter=",", names=True)


def _string(rows):
    """A series from sixteen rows; straight lines between the published points."""
    amps = np.concatenate([np.full(s, i) for _, _, i, s in PARTS])
    values = {"pack_current_a": amps}
    for n, one in enumerate(rows, start=1):
        volts = np.concatenate([np.linspace(one[a], one[b], s) for a, b, _, s in PARTS])
        values[cell_voltage(n)] = np.round(volts, 3)
    return Series(0, 1.0, len(amps), values)


def _monitor(rows):
    monitor = CellMonitor(PACK)
    monitor.update(_string(rows))
    return monitor


def test_sag_at_1c_from_the_half_c_pulse(table):
    sags = {}
    for name, half, whole in (("at once", "U6", "U14"), ("after 5 s", "U7", "U15")):
        found = (table["U13"] - table[whole]) - 2 * (table["U5"] - table[half])
        sags[name] = 1e3 * float(np.sqrt(np.mean(found**2)))
    print("\n1C sag from the 0.5C pulse: " + ", ".join(f"{k} {v:.2f} mV" for k, v in sags.items()))
    assert max(sags.values()) <= 3.0


def test_monitor_resistance_is_that_of_the_pulses(table):
    rows = table[table["soc_percent"] == 30][:16]
    found = _monitor(rows).median_resistance()
    # published: median 3.15 milliohm after 5 s, less at once; ten-second means mix with rests
    assert 2.0e-3 < found.mid < 3.6e-3


def test_healthy_strings_raise_no_finding(table):
    rng = np.random.default_rng(3)
    levels = np.arange(10, 51, 5)
    false = 0
    for k in range(DRAWS):
        rows = table[table["soc_percent"] == levels[k % len(levels)]]
        false += bool(_monitor(rng.permutation(rows)[:16]).detections())
    print(f"\nhealthy strings: {false} of {DRAWS} with a finding")
    assert false <= 0.01 * DRAWS


@pytest.mark.parametrize(("low", "others"), [(10, 15), (20, 25)])
def test_cell_5_percent_lower_is_found(table, low, others):
    rng = np.random.default_rng(low)
    count, right = max(DRAWS // 4, 30), 0
    for _ in range(count):
        rows = rng.permutation(table[table["soc_percent"] == others])[:16]
        where = int(rng.integers(16))
        rows[where] = rng.choice(table[table["soc_percent"] == low])
        found = [f.subject for f in _monitor(rows).detections()]
        right += found == [f"cell {where + 1}"]
    print(f"\none cell at {low} %, the others at {others} %: found in {right} of {count}")
    assert right >= 0.9 * count


def test_ten_percent_on_the_plateau_is_answered_cannot_tell(table):
    rng = np.random.default_rng(45)
    for _ in range(30):
        rows = rng.permutation(table[table["soc_percent"] == 45])[:16]
        rows[5] = rng.choice(table[table["soc_percent"] == 35])
        monitor = _monitor(rows)
        visible = monitor.visible()
        assert monitor.detections() == []
        assert not visible.known
        assert "cannot tell" in visible.reason
        assert visible.missing
