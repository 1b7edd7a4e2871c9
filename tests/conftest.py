"""What all tests share."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

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
