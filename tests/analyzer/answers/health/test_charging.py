"""What is said of the charging, from a log's last hours; invented readings."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from analyzer.answers.health.charging import charging_now
from analyzer.pack.cell_model import default_cell, measured_capacity
from analyzer.pack.soc import known
from analyzer.series.series import Series
from logger.boat import Pack

PACK = Pack(chemistry="lfp", cells_in_series=16, rated_capacity_ah=200)
DAY_US = 24 * 3600 * 1_000_000


def log(amps, days=1.0, **more):
    """As much of a log as the question takes."""
    n = 1800
    values = {"pack_current_a": np.full(n, amps), "pack_voltage_v": np.full(n, 53.0)}
    values |= {k: np.full(n, v) for k, v in more.items()}
    store = SimpleNamespace(span=lambda: (0, round(days * DAY_US)))
    boat = SimpleNamespace(pack=PACK)
    return SimpleNamespace(
        store=store, boat=boat, load=lambda names, start, end: Series(0, 1.0, n, values)
    )


def here(soc=0.5):
    cell = measured_capacity(default_cell(PACK), 0.08)  # 200 Ah, for the sums by hand
    return SimpleNamespace(charge=known(PACK, soc, 0.02, cell))


def test_charging_now_tells_time_to_full_and_where_it_comes_from():
    # 100 Ah missing at 20 A, the tail of twenty minutes: 5 h 20 min
    _, remarks = charging_now(log(-20.0, solar_power_w=530.0), here())
    assert len(remarks) == 1
    assert remarks[0].startswith("Charging by the sun, 50 % of it, with 20 A: full in about 5 h")
    _, remarks = charging_now(log(-20.0, shaft_speed_rps=5.0), here())
    assert "by the turning propeller" in remarks[0]


def test_charging_now_is_silent_while_the_pack_gives():
    assert charging_now(log(20.0), here()) == ((), ())


def test_charging_now_counts_days_since_full():
    found, _ = charging_now(log(0.0, days=40.0), here())
    assert [f.kind for f in found] == ["never_full"]
    assert "40 days" in found[0].text
    found, _ = charging_now(log(0.0, days=3.0), here())
    assert found == ()


def test_charging_now_without_charge_still_warns():
    found, remarks = charging_now(log(-20.0, pack_temp_c=-4.0), SimpleNamespace(charge=None))
    assert [f.kind for f in found] == ["cold_charge"]
    assert remarks == ()


def test_charging_now_tells_a_shunt_that_is_the_wrong_way_round():
    there = log(-20.0)
    amps = -np.repeat(np.tile([10.0, 40.0], 15), 60)
    series = Series(0, 1.0, 1800, {"pack_current_a": amps, "pack_voltage_v": 53.0 + 0.008 * amps})
    there.load = lambda names, start, end: series
    charge = replace(known(PACK, 0.5, 0.02), sign_reversed=True)
    found, remarks = charging_now(there, SimpleNamespace(charge=charge))
    assert [f.kind for f in found] == ["shunt_reversed"]
    assert remarks == ()
