"""Every page on logs as boats leave them: with a gap, without a date, without a position."""

import numpy as np
import pytest

from analyzer.answers import Log
from analyzer.faces.web.app import create_app
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store

START_US = 1_782_887_400_000_000  # 1 July 2026, 06:30 UTC
HALF_S, GAP_S = 900, 4200  # a quarter of an hour on either side of 70 minutes
PATHS = (
    *("/", "/trips", "/trip/1", "/log", "/plan", "/health", "/set-up", "/set-up/guide"),
    *("/trip/1/charts/way.json", "/trip/1/charts/pack.json", "/trip/1/charts/track.json"),
    *("/log/charts.json", "/plan/near.json"),
)
CELLS = tuple(f"cell_{k:02d}_voltage_v" for k in range(1, 9))
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a", *CELLS), (EXACT,) * 10)
GPS = Group(
    "t/gps",
    ("latitude_deg", "longitude_deg", "speed_ground_mps", "course_ground_deg"),
    (EXACT,) * 4,
)


def motor_on(writer, start_us, far_m, position):
    """A quarter of an hour of motoring north at 2.2 m/s."""
    t_us = start_us + np.arange(HALF_S, dtype=np.int64) * 1_000_000
    cells = 3.3 + 0.001 * np.arange(8) - 0.0001 * np.arange(HALF_S)[:, None] / 60
    amps = np.full(HALF_S, 40.0)
    writer.add(Block(PACK, t_us, np.column_stack([cells.sum(axis=1), amps, cells])))
    if position:
        north = 46 + (far_m + 2.2 * np.arange(HALF_S)) / 111_120  # metres in a degree: 60 x 1852
        even = np.tile([-24.0, 2.2, 0.0], (HALF_S, 1))
        writer.add(Block(GPS, t_us, np.column_stack([north, even])))


@pytest.fixture(params=["a gap", "no date", "no position"])
def odd(request, tmp_path, invented):
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(invented.InventedLog.boat_toml, 1)
        writer = store.writer("boot")
        if request.param != "no date":
            writer.add(UtcFix(0, START_US, "file", 1.0))
        position = request.param != "no position"
        motor_on(writer, 0, 0.0, position)
        motor_on(writer, (HALF_S + GAP_S) * 1_000_000, 2.2 * HALF_S, position)
        writer.close()
    log = Log(path, None)
    log.refresh()
    return request.param, log


def test_every_page_of_an_odd_log_has_words_and_no_fault(odd, browse):
    name, log = odd
    client = browse(create_app(log))
    trips = log.trips()
    paths = [path for path in PATHS if trips or not path.startswith("/trip/")]
    found = {path: client.get(path) for path in paths}
    assert {path: answer.status_code for path, answer in found.items()} == dict.fromkeys(paths, 200)
    pages = {path: answer.text for path, answer in found.items() if not path.endswith("json")}
    assert not [p for p, text in pages.items() if ">None<" in text or ">nan<" in text]
    assert not [p for p, text in pages.items() if "1970" in text]  # no date is no date
    assert trips or name != "a gap"
    if name == "a gap":
        gap_is_empty(client.get("/log/columns.json?start_s=0&end_s=1e10").json())


def gap_is_empty(columns):
    """The band of the cells has no height where nothing was measured for an hour."""
    gone_s = START_US / 1e6 + HALF_S
    inside = [k for k, t in enumerate(columns["t_ms"]) if gone_s + 600 < t / 1e3 < gone_s + 3600]
    assert len(inside) > 100
    assert all(columns["band_low"][k] == columns["band_high"][k] for k in inside)
    assert all(columns["pack_voltage_v"][k] is None for k in inside)
