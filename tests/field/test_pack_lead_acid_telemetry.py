"""Five days of a 17 Ah glass-mat battery, one reading a minute, asked as ten in parallel.

Data: lead_acid_17ah_telemetry (its README names the source); nothing of it was fitted. Truth: Ah
counted from full to the end of each discharge, as the publisher integrates them too.
"""

import csv

import numpy as np
import pytest

from analyzer.pack.soc import track
from analyzer.series.series import load
from analyzer.trips.trips import energy_wh
from logger.boat import Pack
from logger.store import Store
from replay.player import open_recordings, play

pytestmark = pytest.mark.field

PACK = Pack(chemistry="agm", cells_in_series=6, rated_capacity_ah=170)
NAMES = ("pack_voltage_v", "pack_current_a", "pack_temp_c")
PARALLEL = 10
# Whole discharges from full in these days, by the README: amperes and Ah of one battery.
PUBLISHED = ((3.04, 19.7), (2.54, 19.8), (2.04, 19.7), (1.54, 19.3))


@pytest.fixture(scope="module")
def raw(shared_data):
    """Times [s], volts, amps of ten: the rows that hold both."""
    path = shared_data / "lead_acid_17ah_telemetry" / "unit_a_first_days.csv"
    with path.open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["voltage_V"]]
    t = np.array([np.datetime64(r["time_utc"].rstrip("Z")) for r in rows])
    volts, amps = (
        np.array([float(r[k]) for r in rows]) for k in ("voltage_V", "discharge_current_A")
    )
    return (t - t[0]) / np.timedelta64(1, "s"), volts, PARALLEL * amps


@pytest.fixture(scope="module")
def followed(shared_data, tmp_path_factory):
    """The log's series and the charge followed over it."""
    folder = shared_data / "lead_acid_17ah_telemetry"
    work = tmp_path_factory.mktemp("telemetry")
    table = work / "ten.csv"
    with (
        (folder / "unit_a_first_days.csv").open(encoding="utf-8") as source,
        table.open("w") as file,
    ):
        rows = csv.DictReader(source)
        out = csv.DictWriter(file, rows.fieldnames)
        out.writeheader()
        for row in rows:
            amps = row["discharge_current_A"]
            out.writerow({**row, "discharge_current_A": PARALLEL * float(amps) if amps else ""})
    log = work / "log.sqlite"
    source = open_recordings([table], maps=[folder / "map.toml"])
    with Store.open(log, write=True) as store, store.writer("ten") as writer:
        play(source, writer)
    with Store.open(log) as store:
        times, _ = store.read("pack_voltage_v", 0, 2**62)
        series = load(store, NAMES, int(times[0]), int(times[-1]) + 1, 10.0)
    return series, track(series, PACK)


def whole_discharges(t_s, amps):
    """Index ranges of the discharges to the end, in order."""
    giving = np.r_[False, amps > 1.0, False]
    edges = np.flatnonzero(np.diff(giving.astype(int)))
    spans = zip(edges[::2], edges[1::2], strict=True)
    return [(a, b) for a, b in spans if np.trapezoid(amps[a:b], t_s[a:b]) / 3600 > 150]


def test_counted_discharges_are_the_published_ones(raw):
    t_s, _, amps = raw
    found = [
        np.trapezoid(amps[a:b], t_s[a:b]) / 3600 / PARALLEL for a, b in whole_discharges(t_s, amps)
    ]
    assert found == pytest.approx([ah for _, ah in PUBLISHED], abs=0.15)


FROM_REST = pytest.mark.xfail(
    strict=True,
    reason="10.3 points at 75 %; floor: the block gives 1.16 times its label in 6.5 h, four sigma"
    " above new ones, and nothing of it was seen before; from the second on 4 points at most",
)


@pytest.mark.parametrize("number", [pytest.param(0, marks=FROM_REST), 1, 2, 3])
def test_charge_of_each_discharge(raw, followed, number):
    """Within 5 points at 75, 50 and 25 %."""
    t_s, _, amps = raw
    first, last = whole_discharges(t_s, amps)[number]
    given = np.r_[0.0, np.cumsum(np.diff(t_s[first:last]) * amps[first + 1 : last])]
    off = []
    for left in (0.75, 0.50, 0.25):
        at_s = np.interp((1 - left) * given[-1], given, t_s[first:last])
        charge = followed[1].soc_frac[int(at_s / followed[0].step_s)]
        off.append(100 * (charge - left))
    print(f"discharge {number + 1}: " + ", ".join(f"{o:+.1f} points" for o in off))
    assert np.abs(off).max() < 5.0


def test_capacity_after_the_discharges(followed):
    """Within 7 % of the counted 19.3 to 19.8 Ah, from a label of 17."""
    final = followed[1].final
    print(f"capacity {final.capacity_ah:.1f} +- {final.capacity_sd_ah:.1f} Ah, "
          f"offset {final.offset_a:+.2f} +- {final.offset_sd_a:.2f} A")  # fmt: skip
    assert final.capacity_ah / PARALLEL == pytest.approx(19.6, rel=0.07)
    assert abs(final.offset_a) < 0.01 * PACK.rated_capacity_ah


def test_energy_of_each_discharge_from_one_reading_a_minute(raw, followed):
    """Within 2 % of the trapezoid rule over the file's own rows."""
    t_s, volts, amps = raw
    series = followed[0]
    for first, last in whole_discharges(t_s, amps):
        counted = np.trapezoid(volts[first:last] * amps[first:last], t_s[first:last]) / 3600
        part = series.cut(*(round(t_s[k] / series.step_s) for k in (first, last)))
        assert energy_wh(part)[0] == pytest.approx(counted, rel=0.02)
