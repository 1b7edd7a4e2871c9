"""What all tests share."""

import os
from pathlib import Path

import pytest

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
