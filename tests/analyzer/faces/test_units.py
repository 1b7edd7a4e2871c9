"""A page in kilometres, °F or UTC: every figure of it, and no other unit beside them."""

import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from analyzer.faces import units
from analyzer.faces.line_breaks import NO_BREAK
from analyzer.faces.web.app import create_app


def spaced(page):
    return page.replace(NO_BREAK, " ")


@pytest.mark.parametrize(
    ("text", "want"),
    [
        # A nautical mile is 1.852 km and a knot 1.852 km/h, by definition.
        ("between 11 and 15 nautical miles", "between 20 and 28 kilometres"),
        ("11 to 15 nmi", "20 to 28 km"),
        ("slow to 3.5 kn through water: 21 nmi instead of 13",
         "slow to 6.5 km/h through water: 39 km instead of 24 km"),
        ("540 Wh/nmi", "292 Wh/km"),
        ("0.53 nmi away", "0.98 km away"),
        ("2 nmi", "3.7 km"),
        ("cell 12 knows 4 kWh, 90 A and 5 kN", "cell 12 knows 4 kWh, 90 A and 5 kN"),
    ],
)  # fmt: skip
def test_a_sentence_is_translated_whole(text, want):
    assert units.told(text, units.INLAND) == want
    assert units.told(text, units.SEA) == text


@pytest.mark.parametrize(
    ("text", "want"),
    [
        # Water freezes at 32 °F and boils at 212 °F; a difference of a kelvin is 1.8 °F.
        ("charge below 0 °C", "charge below 32 °F"),
        ("97 to 100 °C", "207 to 212 °F"),
        ("60 against 58 °C", "140 against 136 °F"),
        ("-40 °C", "-40 °F"),  # where the scales meet
        ("heats about 10 K more than 20.5 °C", "heats about 18 °F more than 68.9 °F"),
        ("4 kWh, 12 Kelvin Road, cell 3", "4 kWh, 12 Kelvin Road, cell 3"),
    ],
)
def test_temperatures_and_their_differences_become_fahrenheit(text, want):
    assert units.told(text, replace(units.SEA, fahrenheit=True)) == want
    assert units.told(text, units.SEA) == text


def test_fahrenheit_is_kept_on_the_phone_and_holds_for_charts_too(log, browse):
    client = browse(create_app(log))
    assert "°F</a>" in client.get("/health").text
    warm = client.get("/trip/2/charts/pack.json").json()
    client.get("/units/fahrenheit?back=/health")
    page = spaced(client.get("/health").text).replace("°C</a>", "")
    assert " °F" in page
    assert "°C" not in page
    hot = client.get("/trip/2/charts/pack.json").json()
    assert str(hot).count("°F") == str(warm).count("°C") > 0
    assert "°C" not in str(hot)


def test_times_are_in_utc_on_request(log, browse, monkeypatch):
    monkeypatch.setenv("TZ", "Etc/GMT-3")  # three hours ahead of UTC, by its definition
    time.tzset()
    try:
        client = browse(create_app(log))
        own = client.get("/trip/2").text
        shift = client.get("/trip/2").text.split('data-shift="')[1].split('"')[0]
        client.get("/units/utc")
        page = client.get("/trip/2").text
    finally:
        monkeypatch.undo()
        time.tzset()
    start_s = log.review(2).trip.start_utc_s
    assert f"{datetime.fromtimestamp(start_s + 3 * 3600, UTC):%H:%M}" in own
    assert f"{datetime.fromtimestamp(start_s, UTC):%H:%M}" in page
    assert float(shift) == 3 * 3600e3
    assert 'data-shift="0.0"' in page
    assert "times in UTC" in spaced(page)


@pytest.fixture
def inland(log, browse):
    client = browse(create_app(log))
    answer = client.get("/units/inland?back=/trips")
    assert answer.headers["location"] == "/trips"
    assert "units=inland" in answer.headers["set-cookie"]
    return client


@pytest.mark.parametrize(
    "path", ["/", "/trips", "/trip/2", "/season", "/health", "/gain", "/compare?a=2&b=2"]
)
def test_no_nautical_unit_is_left_on_a_page(inland, path):
    page = spaced(inland.get(path).text).replace("Nautical miles, knots</a>", "")
    page = page.replace("Another speed, knots", "")  # what is typed in knots says so
    assert "km" in page
    for word in (" nmi", "nautical", " kn ", " kn<", " kn.", " kn,", "knots"):
        assert word not in page, word


def test_drawings_and_charts_are_in_the_chosen_unit(inland):
    assert "speed, km/h" in str(inland.get("/trip/2/charts/way.json").json())
    track = str(inland.get("/trip/2/charts/track.json").json())
    assert "east, kilometres" in track
    page = inland.get("/").text
    assert 'data-unit="km"' in page
    assert '<span class="number">24</span>' in page  # 13 x 1.852


def test_others_keep_theirs(log, browse):
    page = browse(create_app(log)).get("/").text
    assert "nautical miles" in page
    assert '<span class="number">13</span>' in page
