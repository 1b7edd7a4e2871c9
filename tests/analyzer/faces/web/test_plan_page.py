"""The plan page: what is asked reaches the plan in SI units, what is wrong is said."""

import time

import pytest

from analyzer.faces.charts import leaving_svg, range_svg
from analyzer.faces.web.app import create_app

ROUTE = ("route.gpx", b"<gpx/>", "application/gpx+xml")


@pytest.fixture
def client(log, browse):
    return browse(create_app(log))


def test_page_asks_for_a_route(client):
    page = client.get("/plan")
    assert page.status_code == 200
    assert 'type="file"' in page.text


def test_answer_says_whether_and_how_sure(client):
    page = client.post("/plan", files={"route": ROUTE})
    text = " ".join(page.text.split())
    assert page.status_code == 200
    assert "Yes: 97 % sure of arriving above the reserve" in text
    assert "40 to 48 % charge" in text
    assert "A plan is no promise." in text


def test_wishes_reach_the_plan_in_si(client, log):
    fields = {
        "depart": "2026-07-01T06:30",
        "speed_kn": "4,5",
        "wind_kn": "10",
        "wind_from_deg": "225",
        "charge_percent": "80",
    }
    client.post("/plan", files={"route": ROUTE}, data=fields)
    wish = next(asked for asked in log.asked if hasattr(asked, "route"))
    assert wish.departure_s == 1_782_887_400  # date -u -d 2026-07-01T06:30Z +%s
    assert wish.speeds_mps == pytest.approx((2.315,))  # 4.5 * 1852 / 3600
    assert wish.charge_frac == pytest.approx(0.8)
    assert wish.wind is not None
    assert not wish.route.exists()  # what was sent is not kept


def test_times_are_the_boat_s_own_and_say_so(client, log, monkeypatch):
    monkeypatch.setenv("TZ", "Asia/Kolkata")  # five and a half hours ahead, all year
    time.tzset()
    try:
        page = client.post("/plan", files={"route": ROUTE}, data={"depart": "2026-07-01T12:00"})
        assert "Leaving, IST (else now)" in page.text
        wish = next(asked for asked in log.asked if hasattr(asked, "route"))
        assert wish.departure_s == 1_782_887_400  # date -u -d 2026-07-01T06:30Z +%s
    finally:
        monkeypatch.delenv("TZ")
        time.tzset()


@pytest.mark.parametrize(
    ("files", "fields", "says"),
    [
        ({}, {"speed_kn": "4"}, "Choose a GPX file"),
        ({"route": ("r.gpx", b"no route", "text/plain")}, {}, "The file route cannot be read"),
        ({"route": ROUTE}, {"speed_kn": "fast"}, "the speed in knots wants 0.5 to 30"),
        ({"route": ROUTE}, {"charge_percent": "120"}, "the charge in per cent wants 0 to 100"),
        ({"route": ROUTE}, {"depart": "tomorrow"}, "2026-07-01T06:30"),
        ({"route": ROUTE}, {"stream_kn": "1.5"}, "the stream wants both: its knots and"),
        ({"route": ROUTE}, {"wind_from_deg": "225"}, "the wind wants both: its knots and"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_written_stays(client, files, fields, says):
    page = client.post("/plan", files=files or None, data=fields)
    assert page.status_code == 422
    assert says.lower() in page.text.lower().replace("&#39;", "'")
    assert all(f'value="{value}"' in page.text for value in fields.values())


def test_too_long_a_file_is_refused_before_it_is_read(client):
    page = client.post("/plan", files={"route": ("r.gpx", b"x" * 5_100_000, "text/plain")})
    assert page.status_code == 422
    assert "at most 5000000 bytes" in page.text


def test_the_best_hour_is_drawn_and_each_hour_told(client, log):
    page = client.post("/plan", files={"route": ROUTE}, data={"leave_within_h": "4"})
    wish = next(asked for asked in log.asked if hasattr(asked, "route"))
    assert wish.leave_within_s == 4 * 3600  # an hour has 3600 seconds
    text = " ".join(page.text.split())
    assert "How sure each hour of leaving is" in text
    assert text.count("less than 1 %") == 1
    assert "5 departures" in text


def test_the_curve_of_hours_is_in_proportion(invented):
    drawn = leaving_svg.by_hour(invented.LEAVING.departures, invented.START, 0.9)
    points = [tuple(map(float, xy.split())) for xy in drawn.middle[1:].split("L")]
    assert [x for x, _ in points] == pytest.approx([40, 127.5, 215, 302.5, 390], abs=0.1)
    assert [(172 - y) / 152 for _, y in points] == pytest.approx([0.97, 0.6, 0.2, 0, 0.5], abs=1e-3)
    assert drawn.best == pytest.approx(points[0], abs=0.1)
    assert (172 - drawn.keep) / 152 == pytest.approx(0.9)
    assert leaving_svg.by_hour(invented.LEAVING.departures[:1], invented.START, 0.9) is None


def test_charge_along_the_way_is_in_proportion(invented):
    way = range_svg.along(invented.PLAN.plan.legs, 0.64, 0.2)
    points = [tuple(map(float, xy.split())) for xy in way.middle[1:].split("L")]
    assert [x for x, _ in points] == pytest.approx([40, 40 + 350 / 3, 390], abs=0.1)
    heights = [(172 - y) / 152 for _, y in points]
    assert heights == pytest.approx([0.64, 0.58, 0.44], abs=0.001)
    assert range_svg.along((), 0.64, 0.2) is None
