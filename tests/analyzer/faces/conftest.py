"""Invented answers at hand."""

import asyncio

import httpx
import pytest

from tests.support import invented as invented_module


@pytest.fixture
def invented():
    """The module of invented answers."""
    return invented_module


@pytest.fixture
def log(invented):
    """A log that gives invented answers."""
    return invented.InventedLog()


class Browser:
    """Asks an application in process, keeping cookies; follows no redirection."""

    def __init__(self, app):
        self.app = app
        self.cookies = httpx.Cookies()

    def _ask(self, method, path, **more):
        async def ask():
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://localhost", cookies=self.cookies
            ) as client:
                answer = await client.request(method, path, **more)
                self.cookies = client.cookies
                return answer

        return asyncio.run(ask())

    def get(self, path, **more):
        """A GET request."""
        return self._ask("GET", path, **more)

    def post(self, path, **more):
        """A POST request."""
        return self._ask("POST", path, **more)


@pytest.fixture
def browse():
    """Turns an application into something to ask."""
    return Browser
