"""Ways out for flags and figures: lines over UDP or TCP, and a command of the user's own.

Nothing here waits for a listener: a slow or absent one loses lines, never time.
"""

import fcntl
import json
import os
import pwd
import socket
import subprocess
import sys
import termios
import threading
from collections.abc import Sequence
from typing import Protocol

from analyzer.estimation.results import to_json
from analyzer.flags.flag import FlagEvent

NOBODY = "nobody"
# Of the user's commands: at once, and how long one may take; assumed.
MOST_RUNNING = 4
LONGEST_S = 30.0
# Kept for a client that is slow, some 20 seconds of lines (the kernel takes twice as much), and
# how long one may acknowledge nothing, as a display whose plug was pulled; assumed.
ROOM_BYTES = 8192
GONE_MS = 15_000


class Way(Protocol):
    """Somewhere lines go."""

    def send(self, lines: Sequence[str]) -> None:
        """Sends whole lines; what cannot go at once is dropped."""

    def close(self) -> None:
        """Lets the socket go."""


class UdpLines:
    """One datagram for each line, to one address or a broadcast address."""

    def __init__(self, host: str, port: int) -> None:
        self.address = (host, port)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        self._socket.setblocking(False)
        self.lost = 0

    def send(self, lines: Sequence[str]) -> None:
        """Sends whole lines; what cannot go at once is dropped."""
        for line in lines:
            try:
                self._socket.sendto(line.encode("ascii"), self.address)
            except OSError:
                self.lost += 1

    def close(self) -> None:
        """Lets the socket go."""
        self._socket.close()


class TcpLines:
    """Listens; every client gets every line from when it came. Nothing that a client sends is read.

    A client that does not read is let go: once the little room this side keeps for it is full, once
    nothing came through to it for some seconds, or for a newcomer where all places are taken. The
    kernel keeps room for it on its own side too, which cannot be told from a client that reads.
    """

    def __init__(self, host: str, port: int, most_clients: int = 8) -> None:
        self._listener = socket.create_server((host, port))
        self._listener.setblocking(False)
        self._clients: list[socket.socket] = []
        self.most_clients = most_clients
        self.port = int(self._listener.getsockname()[1])

    def send(self, lines: Sequence[str]) -> None:
        """Sends whole lines; a client whose buffer is full is let go."""
        self._accept()
        if not lines:
            return
        data = "".join(lines).encode("ascii")
        for client in list(self._clients):
            try:
                if client.send(data) < len(data):
                    self._drop(client)
            except OSError:
                self._drop(client)

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            if len(self._clients) >= self.most_clients and not self._make_room():
                client.close()
                continue
            client.setblocking(False)
            client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, ROOM_BYTES)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, GONE_MS)
            self._clients.append(client)

    def _make_room(self) -> bool:
        """Lets the client go that has most unread; False where each has read all that was sent."""
        slowest = max(self._clients, key=unread_bytes)
        if unread_bytes(slowest) == 0:
            return False
        self._drop(slowest)
        return True

    def _drop(self, client: socket.socket) -> None:
        client.close()
        self._clients.remove(client)

    def close(self) -> None:
        """Lets all sockets go."""
        for client in list(self._clients):
            self._drop(client)
        self._listener.close()


def unread_bytes(client: socket.socket) -> int:
    """Sent, and not yet taken by the other side's kernel."""
    answer = fcntl.ioctl(client.fileno(), termios.TIOCOUTQ, bytes(4))
    return int.from_bytes(answer, sys.byteorder)


class Command:
    """A command of the user's own, run when a flag is raised, gets worse or is cleared.

    Its arguments are the user's list and nothing else, never through a shell; the flag comes on
    its standard input as JSON. It runs with an almost empty environment, as nobody where the
    program itself is root, and is ended after `limit_s`.
    """

    def __init__(self, arguments: tuple[str, ...], limit_s: float = 10.0) -> None:
        if not arguments or not os.path.isabs(arguments[0]):
            raise ValueError(f"a command wants the whole path of its program, got {arguments!r}")
        self.arguments = arguments
        self.limit_s = min(limit_s, LONGEST_S)
        self.failed = self.skipped = 0
        self._running: list[threading.Thread] = []

    def tell(self, event: FlagEvent) -> None:
        """Runs the command for one event; does not wait for it."""
        self._running = [t for t in self._running if t.is_alive()]
        if len(self._running) >= MOST_RUNNING:
            self.skipped += 1
            return
        said = json.dumps({"action": event.action, "flag": to_json(event.flag)})
        thread = threading.Thread(target=self._run, args=(said,), daemon=True)
        thread.start()
        self._running.append(thread)

    def _run(self, said: str) -> None:
        who = NOBODY if os.geteuid() == 0 and _there(NOBODY) else None
        try:
            subprocess.run(
                self.arguments,
                input=said.encode(),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={"PATH": "/usr/bin:/bin", "LANG": "C.UTF-8"},
                cwd="/",
                timeout=self.limit_s,
                check=True,
                user=who,
                extra_groups=[] if who else None,
            )
        except (OSError, subprocess.SubprocessError):
            self.failed += 1

    def wait(self, limit_s: float) -> None:
        """Waits for what runs, at most so long."""
        for thread in self._running:
            thread.join(limit_s)


def _there(user: str) -> bool:
    try:
        pwd.getpwnam(user)
    except KeyError:
        return False
    return True
