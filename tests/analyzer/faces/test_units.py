"""A page in kilometres: every distance and speed of it, and no nautical one beside them."""

import pytest

from analyzer.faces import units
from analyzer.faces.web.app import create_app


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


@pytest.fixture
def inland(log, browse):
    client = browse(create_app(log))
    answer = client.get("/units/inland?back=/trips")
    assert answer.headers["location"] == "/trips"
    assert "units=inland" in answer.headers["set-cookie"]
    return client


@pytest.mark.parametrize("path", ["/", "/trips", "/trip/2", "/health", "/compare?a=2&b=2"])
def test_no_nautical_unit_is_left_on_a_page(inland, path):
    page = inland.get(path).text.replace("nautical miles, knots</a>", "")
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
