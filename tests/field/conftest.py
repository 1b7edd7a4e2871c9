"""What field tests share."""

from pathlib import Path

import pytest

from tests.support.voyages import Data, read_data


@pytest.fixture(scope="module")
def data(shared_data: Path) -> Data:
    """What the invented voyages take from the open data."""
    return read_data(shared_data)
