"""Which host names are answered, and what every answer carries."""

import pytest

from analyzer.faces.web import header_middleware

NAMES = header_middleware.own_names(["Boat.lan"])


@pytest.mark.parametrize(
    "host",
    ["localhost", "localhost:8765", "127.0.0.1:8765", "[::1]:8765", "192.168.4.1", "boat.lan:80"],
)
def test_own_names_and_plain_addresses_are_answered(host):
    assert header_middleware.host_allowed(host, NAMES)


@pytest.mark.parametrize(
    "host", ["", "evil.example", "localhost.evil.example:8765", "127.0.0.1.evil.example"]
)
def test_strange_names_are_refused(host):
    assert not header_middleware.host_allowed(host, NAMES)
