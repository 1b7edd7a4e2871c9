"""The set-up page: saves what is right, says what is wrong, and keeps what was written."""

import pytest

from analyzer.answers import Log
from analyzer.faces.web.app import create_app
from logger.errors import BoatFileError


@pytest.fixture
def client(log, browse):
    return browse(create_app(log))


def test_page_shows_what_arrives_and_the_form(client):
    page = client.get("/set-up").text
    assert "Pack voltage" in page
    assert "52.31\u00a0V" in page
    assert 'name="hull.waterline_m" value="8.1"' in page
    assert "pack_current_a" in page  # expected, not there


def test_a_right_change_is_saved(client, log):
    answer = client.post("/set-up", data={"hull.waterline_m": "8.4"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/set-up?saved=true")
    assert "waterline_m = 8.4" in log.boat_toml
    assert "Saved." in client.get("/set-up?saved=true").text


def test_a_wrong_change_is_said_and_kept_in_the_form(client, log):
    before = log.boat_toml
    answer = client.post("/set-up", data={"hull.waterline_m": "24 ft"})
    assert answer.status_code == 422
    assert "waterline_m" in answer.text
    assert 'value="24 ft"' in answer.text
    assert log.boat_toml == before


def test_what_is_wrong_stands_at_its_field_in_the_form_s_words(client):
    change = {"hull.waterline_m": "-3", "cable.0.size_mm2": "-4", "source.0.name": "g ps"}
    page = client.post("/set-up", data=change).text
    assert "boat.toml, line" not in page
    assert '<a href="#f-hull.waterline_m">Hull: Waterline</a> wants a number of metres' in page
    assert '<a href="#f-cable.0.size_mm2">Cable: positive: Size</a>' in page
    assert '<a href="#f-source.0.name">' in page
    assert page.count('aria-invalid="true"') == 3
    assert 'id="w-hull.waterline_m"' in page


def test_a_sailor_s_units_go_in_and_come_out(client, log):
    change = {
        "hull.cruising_speed_mps": "4.5",
        "home.latitude_deg": "46 16.89 N",
        "home.longitude_deg": "23 52.44 W",
    }
    client.post("/set-up", data=change)
    assert "cruising_speed_mps = 2.315\n" in log.boat_toml  # 4.5 x 1852 / 3600
    assert "latitude_deg = 46.2815\n" in log.boat_toml  # 16.89 / 60
    assert "longitude_deg = -23.874\n" in log.boat_toml
    page = client.get("/set-up").text
    assert 'value="4.5"' in page
    assert 'value="46 16.890 N"' in page
    assert "Cruising speed, knots" in page


def test_what_cannot_be_answered_yet_is_not_called_no(client):
    page = client.get("/set-up").text
    assert "<b>Cannot yet</b>" in page
    assert 'name="tell"' not in page
    assert 'name="fault_text"' not in page


def test_written_markup_stays_text(client):
    page = client.post("/set-up", data={"hull.waterline_m": '"><script>alert(1)</script>'}).text
    assert "<script>alert" not in page


def test_saving_replaces_the_file_whole_and_keeps_the_old_when_wrong(tmp_path, invented):
    path = tmp_path / "boat.toml"
    good = invented.InventedLog.boat_toml
    path.write_text(good)
    log = Log(tmp_path / "log.sqlite", path)
    log.save_boat(good.replace("8.1", "8.2"))
    assert path.read_text() == good.replace("8.1", "8.2")
    with pytest.raises(BoatFileError, match="waterline_m"):
        log.save_boat(good.replace("8.1", "-3"))
    assert path.read_text() == good.replace("8.1", "8.2")
    assert [p.name for p in tmp_path.iterdir()] == ["boat.toml"]
