"""Settings and routes from anybody: little memory and a sentence on every way in."""

import resource

import pytest

from analyzer.errors import BadRoute
from analyzer.faces.cli.base import paths
from analyzer.faces.web.set_up import from_network
from analyzer.range.route import gpx_places
from logger import boat as boats
from logger.errors import BoatFileError

# 60,000 names in one key: the parser alone took 4.3 GB of them.
DOTS = ".".join("a" for _ in range(60_000)) + " = 1\n"


def peak_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


@pytest.fixture
def little_memory():
    before = peak_kb()
    yield
    assert peak_kb() < before + 100_000


@pytest.mark.usefixtures("little_memory")
def test_a_key_of_sixty_thousand_names(tmp_path):
    boat = tmp_path / "boat.toml"
    boat.write_text(DOTS)
    with pytest.raises(BoatFileError):
        boats.load(boat)
    assert paths._log_of(boat) is None  # what every command asks first
    assert from_network._parts(DOTS) == []  # what is posted to the set-up page


@pytest.mark.usefixtures("little_memory")
def test_a_file_without_end(tmp_path):
    path = tmp_path / "boat.toml"
    with path.open("wb") as file:
        file.truncate(2 << 30)  # a hole: it takes no room on the disk
    assert paths._log_of(path) is None
    with pytest.raises(BoatFileError):
        boats.load(path)
    with pytest.raises(BadRoute, match="it is no route"):
        gpx_places(path)
