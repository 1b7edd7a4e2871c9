"""The journal's native protocol, as systemd's own document of that name describes it."""

import logging
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.daemon import journal

log = logging.getLogger("keelwatt")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sock:
        sock.bind(str(tmp_path / "socket"))
        sock.settimeout(5)
        yield sock


@pytest.fixture
def set_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[logging.Handler]:
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    handler = journal.set_up(tmp_path / "socket")
    yield handler
    logging.getLogger().removeHandler(handler)
    handler.close()


def fields(datagram: bytes) -> dict[str, str]:
    found = {}
    while datagram:
        head, _, rest = datagram.partition(b"\n")
        name, plain, value = head.partition(b"=")
        if not plain:
            length = int.from_bytes(rest[:8], "little")
            value, rest = rest[8 : 8 + length], rest[8 + length :]
            assert rest[:1] == b"\n"
            rest = rest[1:]
        found[name.decode()] = value.decode()
        datagram = rest
    return found


def test_a_record_has_its_priority_and_its_source(server: socket.socket, set_up: logging.Handler):
    log.warning("source %s: %s", "gps", "nobody answers", extra={"source": "gps"})
    got = fields(server.recv(65536))
    assert got["MESSAGE"] == "source gps: nobody answers"
    assert got["PRIORITY"] == "4"
    assert got["KEELWATT_SOURCE"] == "gps"
    assert got["SYSLOG_IDENTIFIER"] == "keelwatt"
    log.error("the disk is full")
    got = fields(server.recv(65536))
    assert got["PRIORITY"] == "3"
    assert "KEELWATT_SOURCE" not in got


def test_a_traceback_stays_one_record(server: socket.socket, set_up: logging.Handler):
    try:
        raise KeyError("x")
    except KeyError:
        log.exception("a mistake")
    message = fields(server.recv(65536))["MESSAGE"]
    assert message.startswith("a mistake\nTraceback")
    assert message.endswith("KeyError: 'x'")


def test_without_a_journal_lines_go_to_stderr(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    for stream in ("8:1", None):
        if stream:
            monkeypatch.setenv("JOURNAL_STREAM", stream)
        else:
            monkeypatch.delenv("JOURNAL_STREAM")
        handler = journal.set_up(tmp_path / "none")
        log.warning("source gps is back")
        logging.getLogger().removeHandler(handler)
        assert capsys.readouterr().err == "WARNING source gps is back\n"


def test_a_journal_that_went_away_loses_nothing(
    server: socket.socket,
    set_up: logging.Handler,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
):
    server.close()
    log.warning("the bus is off")
    assert capsys.readouterr().err == "the bus is off\n"
