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
    assert "52.31 V" in page
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
