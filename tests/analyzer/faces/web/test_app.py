"""The HTTP API and the pages, asked in process."""

import dataclasses

import pytest

from analyzer.estimation.results import to_json
from analyzer.faces.web.app import create_app


@pytest.fixture
def client(log, browse):
    return browse(create_app(log))


def test_range_equals_what_json_prints(client, invented):
    answer = client.get("/api/v1/range")
    assert answer.status_code == 200
    assert answer.json() == to_json(invented.RANGE)


def test_range_takes_the_wind_in_knots(client, monkeypatch, log, invented):
    asked = []
    monkeypatch.setattr(log, "range_left", lambda *a: asked.append(a) or invented.RANGE)
    client.get("/api/v1/range?wind_kn=10&from_deg=225")
    assert asked[0][3] == pytest.approx((10 * 1852 / 3600, 225.0))


def test_range_takes_speed_and_stream_in_knots(client, log):
    client.get("/api/v1/range?speed_kn=4&stream_kn=1.5&toward_deg=360&home=track")
    speed_mps, stream, home = log.asked[-1]
    assert speed_mps == pytest.approx(4 * 1852 / 3600)
    assert stream == pytest.approx((1.5 * 1852 / 3600, 0.0))
    assert home == "track"


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("trips", "TRIP"),
        ("review/2", "REVIEW"),
        ("cells", "CELLS"),
        ("cables", "CABLES"),
        ("hull", "HULL"),
        ("check", "CHECK"),
    ],
)
def test_answers_equal_the_results(client, invented, path, name):
    want = to_json(getattr(invented, name))
    assert client.get(f"/api/v1/{path}").json() == ([want] if path == "trips" else want)


def test_plot_keeps_gaps_as_null(client):
    plot = client.get("/api/v1/plot/2?channels=pack_voltage_v").json()
    assert plot["series"]["pack_voltage_v"][7] is None


@pytest.mark.parametrize(
    ("path", "status", "text"),
    [
        ("/api/v1/review/99", 404, "the log holds no trip 99"),
        ("/api/v1/review/x", 422, "number"),
        ("/api/v1/range?speed_kn=-1", 422, "speed_kn"),
        ("/api/v1/range?speed_kn=nan", 422, "speed_kn"),
        ("/api/v1/plot/2?points=1", 422, "points wants 10 or more, got '1'"),
        ("/api/v1/range?sped_kn=4", 422, "no parameter 'sped_kn' here: did you mean 'speed_kn'?"),
        ("/api/v1/range?home=moon", 422, "home wants 'straight' or 'track', got 'moon'"),
        ("/api/v1/cells?x=1", 422, "no parameter 'x' here: it takes none"),
        ("/api/v1/plot/2?channels=pack_volts_v", 404, "did you mean 'pack_voltage_v'?"),
        ("/api/v1/export/2.csv?channels=zzz", 404, "the log holds no channel 'zzz'"),
        ("/api/v1/export/2.csv?step=2", 422, "no parameter 'step' here: did you mean 'step_s'?"),
        ("/api/v1/export/99.csv", 404, "the log holds no trip 99"),
        ("/api/v1/export/99.gpx", 404, "the log holds no trip 99"),
    ],
)
def test_a_wrong_question_gets_one_sentence(client, path, status, text):
    answer = client.get(path)
    assert answer.status_code == status
    assert text in answer.json()["error"]


def test_a_wrong_page_gets_a_page(client):
    answer = client.get("/trip/99")
    assert answer.status_code == 404
    assert "The log holds no trip 99." in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/trips",
        "/season",
        "/trip/2",
        "/log",
        "/plan",
        "/health",
        "/gain",
        "/set-up",
        "/pair",
        "/api",
    ],
)
def test_pages_carry_no_script_and_no_style_of_their_own(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    assert "<script>" not in answer.text
    assert "style=" not in answer.text
    assert "onclick" not in answer.text
    assert "http://" not in answer.text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in answer.text


@pytest.mark.parametrize("path", ["/", "/trip/2", "/api/v1/range", "/static/keelwatt.css", "/no"])
def test_every_answer_carries_the_policy(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert ("unsafe-inline" in policy) == (path == "/trip/2")  # styles the charts need


def test_a_strange_host_name_is_refused(client):
    answer = client.get("/", headers={"host": "evil.example"})
    assert answer.status_code == 421
    assert "nautical" not in answer.text


def test_under_way_says_the_answer_without_script(client):
    text = " ".join(client.get("/").text.split())
    assert "Between 11 and 15 nautical miles" in text
    assert "eight times in ten" in text
    assert "the reserve of 20 %" in text
    assert "Slow to 3.5 kn: 21 nmi instead of 13." in text
    assert text.index("Cell 5 sags") < text.index("nautical miles")


def test_under_way_answers_for_a_speed_asked_without_script(client, log):
    client.get("/?speed=3.5")
    assert log.asked[-1][0] == pytest.approx(3.5 * 1852 / 3600)


def test_under_way_that_cannot_say_still_stands(invented, browse):
    log = invented.InventedLog(invented.UNKNOWN_RANGE)
    page = browse(create_app(log)).get("/")
    assert page.status_code == 200
    assert "No pack voltage and no current arrive." in page.text
    assert "A shunt." in page.text
    assert "None" not in page.text


def test_boat_name_cannot_bring_markup_along(invented, browse):
    answer = dataclasses.replace(invented.RANGE, boat="<script>alert(1)</script>")
    app = create_app(invented.InventedLog(answer))
    page = browse(app).get("/")
    assert "<script>alert" not in page.text
    assert "&lt;script&gt;alert" in page.text


@pytest.mark.parametrize("part", ["way", "pack", "track"])
def test_charts_come_as_items_and_their_scripts_from_the_package(client, part):
    item = client.get(f"/trip/2/charts/{part}.json?look=night").json()
    assert item["root_id"]
    script = client.get("/assets/bokeh/bokeh.min.js")
    assert script.status_code == 200
    assert len(script.content) > 100_000


def test_a_zoomed_chart_asks_for_its_stretch_alone(client, log):
    columns = client.get("/trip/2/columns/way.json?start_s=100&end_s=200").json()
    assert log.asked[-1] == ("trip_plot", (100.0, 200.0), False)
    assert {len(values) for values in columns.values()} == {len(columns["t_ms"])}
    assert columns["power_w"][7] is None
    assert client.get("/trip/2/columns/way.json?start_s=nan&end_s=1").status_code == 422
    client.get("/log/columns.json?start_s=100&end_s=200")
    assert log.asked[-1] == ("window", 100.0, 200.0)


def test_the_log_has_charts_and_stretches_to_jump_to(client):
    page = client.get("/log")
    assert page.status_code == 200
    assert "All of it" in page.text
    assert "Trip 2" in page.text
    assert client.get("/log/charts.json").json()["root_id"]


@pytest.mark.parametrize(
    ("back", "goes"), [("/trips", "/trips"), ("//evil.example", "/"), ("https://evil.example", "/")]
)
def test_look_is_kept_and_goes_back_to_this_site_only(client, back, goes):
    answer = client.get("/look/night", params={"back": back})
    assert answer.headers["location"] == goes
    assert "look=night" in answer.headers["set-cookie"]
    assert 'data-look="night"' in client.get("/").text


@pytest.mark.parametrize(
    "path", ["/static/../api.py", "/static/%2e%2e/api.py", "/assets/bokeh/..%2f..%2fa"]
)
def test_no_path_leads_out_of_a_folder(client, path):
    answer = client.get(path)
    assert answer.status_code == 404


@pytest.mark.parametrize(
    ("ending", "kind"),
    [
        ("csv", "text/csv; charset=utf-8"),
        ("parquet", "application/vnd.apache.parquet"),
        ("gpx", "application/gpx+xml; charset=utf-8"),
    ],
)
def test_downloads_come_as_files(client, log, ending, kind):
    answer = client.get(
        f"/api/v1/export/2.{ending}?channels=pack_voltage_v,pack_current_a&step_s=2"
    )
    assert answer.headers["content-type"] == kind
    assert answer.headers["content-disposition"] == f'attachment; filename="trip_2.{ending}"'
    assert log.asked[-1] == ("export", ending, ("pack_voltage_v", "pack_current_a"), 2.0)
    assert answer.content


def test_the_whole_log_comes_packed(client, log):
    answer = client.get("/api/v1/export/log")
    assert answer.headers["content-disposition"] == 'attachment; filename="log.sqlite.zst"'
    assert log.asked[-1] == ("export", "log", (), None)


def test_plan_takes_a_route_and_changes_nothing(client, log, invented):
    answer = client.post("/api/v1/plan?speed_kn=4&stream_kn=1&toward_deg=90&reserve_frac=0.3",
                         content=b"<gpx/>")  # fmt: skip
    assert answer.json() == to_json(invented.PLAN)
    wish = log.asked[-1]
    assert wish.speeds_mps == pytest.approx((4 * 1852 / 3600,))
    assert wish.stream == pytest.approx((1852 / 3600, 90.0))
    assert wish.reserve_frac == 0.3
    assert client.post("/api/v1/plan", content=b"no route").status_code == 422
    assert client.post("/api/v1/plan", content=b"x" * 5_100_000).status_code == 422
    assert client.post("/api/v1/plan?speed_kn=400", content=b"<gpx/>").status_code == 422
    half = client.post("/api/v1/plan?stream_kn=1", content=b"<gpx/>")
    assert half.status_code == 422
    assert "the stream wants where it goes" in half.json()["error"]


def test_plan_takes_a_file_of_streams_beside_the_route(client, log):
    files = {"route": b"<gpx/>", "stream_table": b"utc,speed_kn,toward_deg"}
    assert client.post("/api/v1/plan", files=files).status_code == 200
    assert log.asked[-1].stream_table.name == "stream_table"
    hours = client.post("/api/v1/plan?leave_within_h=4", content=b"<gpx/>").json()["departures"]
    assert [row["arrives_frac"] for row in hours] == [0.97, 0.6, 0.2, 0.0, 0.5]
    assert client.post("/api/v1/plan", files={"other": b"<gpx/>"}).status_code == 422


def test_hindcast_takes_minutes(client, log, invented):
    assert client.get("/api/v1/hindcast/2?each_min=2").json() == to_json(invented.HINDCAST)
    assert log.asked[-1] == ("hindcast", 120.0)


def test_reference_names_every_question_and_shape(client):
    described = client.get("/api/v1/openapi.json").json()
    page = client.get("/api").text
    for path, ways in described["paths"].items():
        assert path in page
        # The API changes nothing; a plan is asked by POST because its route is a file.
        assert set(ways) == ({"post"} if path == "/api/v1/plan" else {"get"})
    assert "RangeAnswer" in page
    assert "distance_m" in page
    assert client.get("/api/v1/openapi.json").json() == described
    assert client.get("/openapi.json").json() == described


def test_a_fault_of_ours_is_said_and_hides_its_insides(invented, browse):
    log = invented.InventedLog()

    def broken(*_):
        raise ZeroDivisionError("secret inside")

    log.cells = broken
    client = browse(create_app(log))
    answer = client.get("/api/v1/cells")
    assert answer.status_code == 500
    assert "fault" in answer.json()["error"]
    page = client.get("/health")
    assert page.status_code == 500
    assert "itself has a fault here" in page.text
    assert "secret" not in answer.text + page.text


def test_two_trips_stand_side_by_side(client):
    page = client.get("/compare?a=2&b=2")
    assert page.status_code == 200
    # 11.4 nmi in 3 h are 3.8 kn; two motoring legs of an hour each
    assert page.text.count("<td>3.8\u00a0kn</td>") == 2
    assert page.text.count("<td>2\u00a0h</td>") == 2
    assert client.get("/compare/charts.json?a=2&b=2").json()["root_id"]
    assert client.get("/compare/charts.json?a=2&b=99").status_code == 404
    assert client.get("/compare?a=2&b=99").status_code == 404
    assert client.get("/compare?a=2").status_code == 422


def test_addresses_are_those_a_phone_can_open():
    from analyzer.faces.cli import serve

    assert serve.addresses("127.0.0.1", 80) == "http://127.0.0.1:80/"
    assert serve.addresses("::1", 80) == "http://[::1]:80/"
    everywhere = serve.addresses("0.0.0.0", 8765)
    assert ".local:8765/" in everywhere
    assert "0.0.0.0" not in everywhere
    assert "//127." not in everywhere
