"""Every page and question on a log that holds nothing, and on one of a minute: no fault, only
sentences."""

import numpy as np
import pytest

from analyzer.answers import Log
from analyzer.faces.web.app import create_app
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store

PATHS = [
    *(
        "/",
        "/?speed=4",
        "/trips",
        "/season",
        "/log",
        "/plan",
        "/health",
        "/gain",
        "/set-up",
        "/api",
    ),
    *("/api/v1/range?home=straight", "/api/v1/trips", "/api/v1/cells", "/api/v1/cables"),
    *("/api/v1/hull", "/api/v1/flags", "/api/v1/check"),
    *("/log/charts.json", "/log/columns.json?start_s=0&end_s=1"),
]
NO_TRIP = [
    *(
        "/trip/1",
        "/trip/1/charts/way.json",
        "/compare?a=1&b=2",
        "/api/v1/review/1",
        "/api/v1/plot/1",
    ),
    *("/api/v1/export/1.csv", "/api/v1/export/1.gpx"),
]
START_US = 1_782_887_400_000_000


def fill(store):
    group = Group("t/pack", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
    writer = store.writer("boot")
    writer.add(UtcFix(0, START_US, "file", 1.0))
    t_us = np.arange(60, dtype=np.int64) * 1_000_000
    writer.add(Block(group, t_us, np.column_stack([np.full(60, 26.4), np.full(60, 3.0)])))
    writer.close()


@pytest.fixture(params=["nothing", "a minute"])
def log(request, tmp_path, invented):
    path = tmp_path / "log.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(invented.InventedLog.boat_toml, 1)
        if request.param == "a minute":
            fill(store)
    return path


def test_young_log_gives_sentences_and_no_fault(log, browse):
    client = browse(create_app(Log(log, None)))
    found = {path: client.get(path) for path in PATHS}
    assert {path: answer.status_code for path, answer in found.items()} == dict.fromkeys(PATHS, 200)
    assert not [path for path, answer in found.items() if ">None<" in answer.text]
    page = " ".join(found["/"].text.split())
    assert "cannot be said yet" in page or "nautical miles" in page
    assert {path: client.get(path).status_code for path in NO_TRIP} == dict.fromkeys(NO_TRIP, 404)


def test_young_log_can_be_looked_through(log):
    Log(log, None).refresh()
    assert Log(log, None).trips() == ()
