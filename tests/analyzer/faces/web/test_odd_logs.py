"""Every page on logs as boats leave them: with a gap, without a date, without a position."""

import pytest

from analyzer.faces.web.app import create_app
from tests.support.odd_logs import HALF_S, QUICK, START_US, odd_log

PATHS = (
    *(
        "/",
        "/trips",
        "/season",
        "/trip/1",
        "/log",
        "/plan",
        "/health",
        "/gain",
        "/set-up",
        "/set-up/guide",
    ),
    *("/trip/1/charts/way.json", "/trip/1/charts/pack.json", "/trip/1/charts/track.json"),
    *("/log/charts.json", "/plan/near.json"),
)


@pytest.fixture(params=QUICK)
def odd(request, tmp_path):
    return request.param, odd_log(tmp_path / "log.sqlite", request.param)


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
