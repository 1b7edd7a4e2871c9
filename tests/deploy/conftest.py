"""What several tests of the board share."""

from pathlib import Path

import pytest

from tests.support.signing import make_key


@pytest.fixture
def key(tmp_path: Path) -> Path:
    """A private key of the owner's."""
    return make_key(tmp_path / "own.key")
