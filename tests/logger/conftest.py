"""What tests of the logger share."""

import pytest

from logger.store import Store


@pytest.fixture
def store(tmp_path):
    """An empty log, open for writing."""
    with Store.open(tmp_path / "boat.log", write=True) as opened:
        yield opened
