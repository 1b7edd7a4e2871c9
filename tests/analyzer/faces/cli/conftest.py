"""What tests of the command line share."""

import pytest


@pytest.fixture
def own_home(tmp_path, monkeypatch):
    """No test reads or writes the real user's folders."""
    for name in ("KEELWATT_LOG", "KEELWATT_BOAT", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
