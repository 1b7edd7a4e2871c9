"""Where the boat file and the log are looked for, in which order."""

import pytest

from analyzer.faces.cli.base import paths


@pytest.fixture
def home(tmp_path, monkeypatch):
    for name in ("KEELWATT_LOG", "KEELWATT_BOAT", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


def test_log_lies_in_the_data_folder_when_nothing_is_said(home):
    found = paths.find()
    assert found.log == home / ".local/share/keelwatt/log.sqlite"
    assert found.boat is None


def test_xdg_folders_are_kept_to_unless_relative(home, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))
    assert paths.data_folder() == home / "data" / "keelwatt"
    monkeypatch.setenv("XDG_DATA_HOME", "data")  # relative ones are to be ignored, says XDG
    assert paths.data_folder() == home / ".local/share" / "keelwatt"


def test_option_beats_environment_beats_boat_file(home, monkeypatch):
    boat = home / ".config/keelwatt/boat.toml"
    boat.parent.mkdir(parents=True)
    boat.write_text('log_path = "from_boat.sqlite"\n')
    assert paths.find().log == boat.parent / "from_boat.sqlite"
    monkeypatch.setenv("KEELWATT_LOG", str(home / "from_env.sqlite"))
    assert paths.find().log == home / "from_env.sqlite"
    assert paths.find(log="from_option.sqlite").log.name == "from_option.sqlite"


def test_named_boat_file_must_be_there(home):
    with pytest.raises(paths.NoFile, match="there is no boat file at"):
        paths.find(boat=str(home / "nowhere.toml"))


def test_broken_boat_file_does_not_hide_the_usual_log(home):
    boat = home / "boat.toml"
    boat.write_text("log_path = [")
    assert paths.find(boat=str(boat)).log == home / ".local/share/keelwatt/log.sqlite"
