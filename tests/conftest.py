"""What all tests share."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from analyzer.series.log import OpenLog

# One thread of linear algebra a process, its children's too: the build has as many workers as
# cores, and threads that wait for one another by spinning took 14 times the processor time for the
# strings of cells. Sums come out in one order besides. Before numpy is loaded, or it is too late.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# A busy machine is no fault. By default the same examples each time, so that a build means what
# it says; KEELWATT_FULL=1 looks for new ones.
settings.register_profile(
    "keelwatt",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=not os.environ.get("KEELWATT_FULL"),
)
settings.load_profile("keelwatt")
REPOSITORY = Path(__file__).resolve().parent.parent
PLAIN_BOAT = """
name = "invented"
[hull]
waterline_m = 7.2
beam_waterline_m = 2.3
draught_m = 1.3
displacement_kg = 3100
[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = 120
[motor]
rated_power_w = 5000
"""


# Folders whose tests take longest: begun first, so that at the end the workers have short ones to
# share and none waits for another.
FIRST = ("breakage", "field", "browser", "faults", "fuzz")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Puts the tests of the slowest folders first; within a folder they keep their order."""

    def turn(item: pytest.Item) -> int:
        folder = item.path.relative_to(REPOSITORY / "tests").parts[0]
        return FIRST.index(folder) if folder in FIRST else len(FIRST)

    items.sort(key=turn)


def _shared_data() -> Path:
    told = os.environ.get("KEELWATT_DATA")
    return Path(told) if told else REPOSITORY.parent / "shared" / "data"


@pytest.fixture(scope="session")
def repository() -> Path:
    """The project's own folder."""
    return REPOSITORY


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of outside data; a test that wants it is skipped where it is absent."""
    folder = _shared_data()
    if not folder.is_dir():
        pytest.skip(f"outside data not here: no folder {folder} (KEELWATT_DATA names another)")
    return folder


@pytest.fixture(scope="session")
def played_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped demo's log, played once for all workers; see `demo_log`."""
    from analyzer.faces.cli.base.playback import play_into
    from replay.into_log import shipped_demo

    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "played"
    folder.mkdir(exist_ok=True)
    log, begun = folder / "log.sqlite", folder / f"{os.getpid()}.sqlite"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # given back as the file is closed, however that comes
        if not log.exists():
            boat, played = shipped_demo()
            play_into(begun, played, boat)
            begun.rename(log)
    return log


@pytest.fixture(scope="module")
def demo_log(played_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's log, alone in its folder, for the tests of one file."""
    return Path(shutil.copy(played_demo, tmp_path_factory.mktemp("demo")))


@pytest.fixture(scope="module")
def demo(demo_log: Path) -> Iterator["OpenLog"]:
    """The demo's log, opened."""
    from analyzer.series.log import OpenLog

    with OpenLog.open(demo_log) as opened:
        yield opened


@pytest.fixture
def plain_boat(tmp_path: Path) -> Path:
    """The shortest boat file with which everything can be asked."""
    path = tmp_path / "boat.toml"
    path.write_text(PLAIN_BOAT)
    return path
