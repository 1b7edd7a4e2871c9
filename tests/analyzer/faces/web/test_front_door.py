"""One phone that never finishes asking, or asks without end, leaves the others their pages."""

import asyncio
import socket
import time

import httpx
import pytest
from starlette.responses import PlainTextResponse

from analyzer.faces.web import front_door
from analyzer.faces.web.front_door import Budget, PatientProtocol
from tests.support.browser import Served


async def answers(scope, receive, send):
    if scope["type"] == "lifespan":
        while True:
            message = await receive()
            await send({"type": f"{message['type']}.complete"})
            if message["type"] == "lifespan.shutdown":
                return
    await PlainTextResponse("here")(scope, receive, send)


@pytest.fixture
def board(monkeypatch):
    monkeypatch.setattr(front_door, "HEAD_S", 0.5)
    monkeypatch.setattr(front_door, "is_own", lambda address: address == "127.0.0.9")
    PatientProtocol.lines.clear()
    with Served(answers) as server:
        yield int(server.url.rpartition(":")[2])


def line(port: int, caller: str) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), 5, (caller, 0))


def ask(port: int, caller: str) -> bytes:
    with line(port, caller) as phone:
        phone.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        return phone.makefile("rb").read()


def hung_up(phone: socket.socket) -> bool:
    phone.settimeout(3)
    try:
        return phone.recv(1) == b""
    except ConnectionResetError:
        return True


def test_a_head_that_never_ends_is_given_up(board: int):
    with line(board, "127.0.0.1") as phone:
        phone.sendall(b"GET / HTTP/1.1\r\nHost: loc")
        began = time.monotonic()
        assert hung_up(phone)
        assert time.monotonic() - began < 2


def test_so_is_one_that_drips_and_the_second_on_a_line(board: int):
    with line(board, "127.0.0.1") as phone:
        phone.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        phone.settimeout(5)
        while b"here" not in phone.recv(1000):
            pass
        began = time.monotonic()
        try:
            for letter in b"GET / HTTP/1.1\r\nHost: localhost, which is long":
                phone.sendall(bytes([letter]))
                time.sleep(0.05)
        except (BrokenPipeError, ConnectionResetError):
            pass
        assert time.monotonic() - began < 2


def test_one_that_opens_line_after_line_shuts_nobody_out(board: int):
    held = [line(board, "127.0.0.1") for _ in range(100)]
    try:
        time.sleep(0.2)
        assert PatientProtocol.lines["127.0.0.1"] <= front_door.MOST_CONNECTIONS
        assert b"here" in ask(board, "127.0.0.2")
    finally:
        for phone in held:
            phone.close()


def test_this_computer_may_open_more(board: int):
    held = [line(board, "127.0.0.9") for _ in range(40)]
    try:
        time.sleep(0.1)
        assert b"here" in ask(board, "127.0.0.9")
    finally:
        for phone in held:
            phone.close()


def test_questions_of_one_address_wait_their_turn():
    async def run() -> tuple[list[int], int]:
        gate = asyncio.Event()

        async def slow(scope, receive, send):
            await gate.wait()
            await PlainTextResponse("done")(scope, receive, send)

        budget = Budget(slow)
        mine = httpx.ASGITransport(budget, client=("192.168.4.7", 1))
        other = httpx.ASGITransport(budget, client=("192.168.4.8", 1))
        async with (
            httpx.AsyncClient(transport=mine, base_url="http://localhost") as one,
            httpx.AsyncClient(transport=other, base_url="http://localhost") as two,
        ):
            asked = [asyncio.create_task(one.post("/plan")) for _ in range(45)]
            await asyncio.sleep(0.1)
            theirs = asyncio.create_task(two.get("/"))
            await asyncio.sleep(0.1)
            gate.set()
            codes = [answer.status_code for answer in await asyncio.gather(*asked)]
            again = await one.get("/")
            assert again.status_code == 200
            return codes, (await theirs).status_code

    codes, other = asyncio.run(run())
    assert codes.count(200) == front_door.MOST_AT_ONCE
    assert codes.count(429) == 45 - front_door.MOST_AT_ONCE
    assert other == 200
