"""Byte streams where nothing else tests them: see test_recorder for sockets and ports live."""

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from logger.errors import SourceError
from logger.sources.byte_stream import SerialStream, TcpStream

BROKEN_LINK = """
import socket, subprocess, time
from logger.errors import SourceError
from logger.sources.byte_stream import TcpStream

def link(state):
    subprocess.run(["ip", "link", "set", "lo", state], check=True)

link("up")
with socket.create_server(("127.0.0.1", 2000)) as server:
    stream = TcpStream("127.0.0.1", 2000)
    peer, _ = server.accept()
    peer.sendall(b"hello")
    assert stream.read(5) == b"hello"
    link("down")
    begun = time.monotonic()
    try:
        while time.monotonic() - begun < 60:
            stream.read(1)
        print("never lost")
    except SourceError as error:
        print("lost after", round(time.monotonic() - begun), "s:", error)
"""


def test_a_connection_asks_whether_the_other_side_is_still_there():
    with socket.create_server(("127.0.0.1", 0)) as server:
        stream = TcpStream("127.0.0.1", server.getsockname()[1])
        peer, _ = server.accept()
        sock = stream._socket
        assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        names = ("TCP_KEEPIDLE", "TCP_KEEPINTVL", "TCP_KEEPCNT")
        idle, apart, count = (
            sock.getsockopt(socket.IPPROTO_TCP, getattr(socket, n)) for n in names
        )
        assert idle + apart * count <= 30
        stream.close()
        peer.close()


@pytest.mark.skipif(not os.environ.get("KEELWATT_FULL"), reason="takes 25 s: KEELWATT_FULL=1")
def test_a_link_that_breaks_off_without_a_word_is_noticed(repository: Path):
    """In a network of its own, whose only link goes down; wants root."""
    if os.geteuid() or not shutil.which("unshare") or not shutil.which("ip"):
        pytest.skip("wants root, unshare and ip")
    done = subprocess.run(
        ["unshare", "--net", sys.executable, "-c", BROKEN_LINK],
        capture_output=True,
        text=True,
        check=True,
        cwd=repository,
    )
    print(done.stdout)
    assert "lost after 2" in done.stdout


def test_a_plug_that_is_out_is_said_in_one_sentence(tmp_path):
    port = tmp_path / "ttyUSB9"
    with pytest.raises(SourceError) as told:
        SerialStream(str(port), 4800)
    assert str(told.value) == f"{port}: wants a serial port; it is not there: plug it in"


def test_what_is_no_port_is_said_to_be_none(tmp_path):
    (tmp_path / "notes.txt").write_text("no port")
    with pytest.raises(SourceError, match="wants a serial port; it cannot be opened as one"):
        SerialStream(str(tmp_path / "notes.txt"), 4800)
