"""Lines over sockets and the user's command, with real sockets and processes."""

import json
import socket
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from analyzer.estimation.detection import Detection
from analyzer.flags import outputs
from analyzer.flags.flag import FlagEvent, record
from analyzer.flags.outputs import Command, TcpLines, UdpLines

FLAG = record(Detection("motor", "motor_hot", "125 °C; $(reboot)", key="motor/hot"), 0)
EVENT = FlagEvent("raised", 0, FLAG)


def test_udp_lines_arrive_one_by_one():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
        listener.bind(("127.0.0.1", 0))
        listener.settimeout(5)
        way = UdpLines("127.0.0.1", listener.getsockname()[1])
        way.send(["$A*41\r\n", "$B*42\r\n"])
        assert [listener.recv(100), listener.recv(100)] == [b"$A*41\r\n", b"$B*42\r\n"]
        way.close()


def test_udp_to_nobody_loses_lines_and_no_time():
    way = UdpLines("127.0.0.1", 9)
    start = time.monotonic()
    for _ in range(100):
        way.send(["$A*41\r\n"])
    assert time.monotonic() - start < 1.0
    way.close()


def test_tcp_clients_get_lines_and_a_stuck_one_is_let_go():
    way = TcpLines("127.0.0.1", 0)
    good = socket.create_connection(("127.0.0.1", way.port), 5)
    stuck = socket.create_connection(("127.0.0.1", way.port), 5)
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    way.send(["$A*41\r\n"])
    assert good.recv(100) == b"$A*41\r\n"
    line = "$" + "x" * 78 + "\r\n"
    good.settimeout(5)
    start = time.monotonic()
    while len(way._clients) == 2 and time.monotonic() - start < 20:
        way.send([line] * 50)
        rest = 50 * len(line)
        while rest:
            got = good.recv(rest)
            assert got, "who reads is not let go"
            rest -= len(got)
    assert len(way._clients) == 1
    for s in (good, stuck):
        s.close()
    way.close()


def connected(way, many):
    clients = [socket.socket() for _ in range(many)]
    for client in clients:  # with as little room as the kernel gives
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.settimeout(5)
        client.connect(("127.0.0.1", way.port))
    way.send(["$A*41\r\n"])
    return clients


def test_a_ninth_gets_the_place_of_one_that_does_not_read():
    way = TcpLines("127.0.0.1", 0)
    clients = connected(way, 8)
    stuck, others = clients[3], [*clients[:3], *clients[4:]]
    line = "$" + "x" * 78 + "\r\n"
    held = [one for one in way._clients if one.getpeername() == stuck.getsockname()]
    for _ in range(1000):
        if outputs.unread_bytes(held[0]):
            break
        way.send([line])
        for one in others:
            assert one.recv(1000)
    assert len(way._clients) == 8  # it still has some room
    ninth = connected(way, 1)[0]
    ninth.settimeout(5)
    assert ninth.recv(100).startswith(b"$A")
    assert held[0] not in way._clients
    for one in (*clients, ninth):
        one.close()
    way.close()


def test_a_ninth_waits_outside_where_all_read():
    way = TcpLines("127.0.0.1", 0)
    clients = connected(way, 8)
    for one in clients:
        assert one.recv(100) == b"$A*41\r\n"
    ninth = connected(way, 1)[0]
    assert ninth.recv(100) == b""
    assert len(way._clients) == 8
    for one in (*clients, ninth):
        one.close()
    way.close()


def test_little_is_kept_for_a_slow_one():
    way = TcpLines("127.0.0.1", 0)
    (slow,) = connected(way, 1)
    line = "$" + "x" * 78 + "\r\n"
    sent = 0
    while way._clients and sent < 1_000_000:
        way.send([line])
        sent += len(line)
    assert sent < 50_000  # as the kernel had it, some 2.5 MB: half an hour of lines
    slow.close()
    way.close()


def test_a_command_gets_the_flag_as_json_and_no_shell_sees_it():
    """The command is a script of its own; what would be a command to a shell stays a word."""
    script = 'cat >"$1/got"; env >"$1/env"; id -u >"$1/who"; printf %s "$2" >"$1/word"'
    # Not under pytest's own folder: nobody but its owner may enter that, and the command is nobody.
    with TemporaryDirectory(dir="/tmp") as folder:
        out = Path(folder)
        out.chmod(0o777)
        word = f"; touch {out}/never"
        command = Command(("/bin/sh", "-c", script, "sh", folder, word))
        command.tell(EVENT)
        command.wait(10)
        assert command.failed == 0
        said = json.loads((out / "got").read_text())
        assert said["action"] == "raised"
        assert said["flag"]["evidence"] == "125 °C; $(reboot)"
        assert "HOME" not in (out / "env").read_text()
        assert int((out / "who").read_text()) != 0
        assert (out / "word").read_text() == word
        assert not (out / "never").exists()


def test_a_command_that_hangs_is_ended_and_counted():
    command = Command(("/bin/sleep", "60"), limit_s=0.5)
    start = time.monotonic()
    command.tell(EVENT)
    assert time.monotonic() - start < 0.5  # nobody waits
    command.wait(10)
    assert command.failed == 1
    assert time.monotonic() - start < 5


def test_too_many_at_once_are_skipped_and_a_missing_one_is_counted():
    command = Command(("/bin/sleep", "60"), limit_s=1.0)
    for _ in range(6):
        command.tell(EVENT)
    assert command.skipped == 2
    command.wait(10)
    gone = Command(("/no/such/program",))
    gone.tell(EVENT)
    gone.wait(5)
    assert gone.failed == 1


def test_a_command_wants_a_whole_path():
    for bad in ((), ("rm", "-rf"), ("bin/x",)):
        with pytest.raises(ValueError, match="whole path"):
            Command(bad)
