"""Recording and serving under the units' own system call filter and memory rule."""

import ctypes.util
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from logger.store import Store

pytestmark = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None or ctypes.util.find_library("seccomp") is None,
    reason="no systemd-analyze or no libseccomp on this machine",
)
SENTENCES = b"$IIVHW,,T,213.0,M,5.0,N,9.3,K*74\r\n$IIRPM,S,1,1250.0,,A*58\r\n"
SOURCE = """
[[source]]
name = "gps"
kind = "nmea0183"
options = {udp = %d}
"""


def free_port(kind: socket.SocketKind) -> int:
    with socket.socket(socket.AF_INET, kind) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


@contextmanager
def confined(repository: Path, unit: str, *options: str) -> Iterator[subprocess.Popen[str]]:
    """keelwatt under a unit's restrictions; asked to stop at the end."""
    wrapper = str(repository / "tests/support/confined.py")
    path = str(repository / "deploy/systemd" / unit)
    command = [sys.executable, wrapper, path, "-m", "analyzer.faces.cli.main", *options]
    process = subprocess.Popen(command, cwd=repository, stderr=subprocess.PIPE, text=True)
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        assert process.stderr is not None
        process.stderr.close()


def speak_until_recorded(log: Path, port: int, process: subprocess.Popen[str]) -> bool:
    """Sends sentences until the log holds water speed, at most 40 s."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        for _ in range(160):
            if process.poll() is not None:
                return False
            sock.sendto(SENTENCES, ("127.0.0.1", port))
            time.sleep(0.25)
            if log.exists() and (log.stat().st_size or log.with_name(log.name + "-wal").exists()):
                with Store.open(log) as store:
                    if "speed_water_mps" in store.channels():
                        return True
    return False


def answer_of(port: int, process: subprocess.Popen[str]) -> int:
    for _ in range(160):
        if process.poll() is not None:
            return 0
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10) as reply:
                return int(reply.status)
        except OSError:
            time.sleep(0.25)
    return 0


def test_record_then_serve_under_their_units_restrictions(
    repository: Path, tmp_path: Path, plain_boat: Path
):
    port, web = free_port(socket.SOCK_DGRAM), free_port(socket.SOCK_STREAM)
    log = tmp_path / "log.sqlite"
    plain_boat.write_text(plain_boat.read_text() + SOURCE % port)
    places = ("--boat", str(plain_boat), "--log", str(log))
    with confined(repository, "keelwatt-record.service", "record", *places) as process:
        assert speak_until_recorded(log, port, process), process.communicate()[1]
    assert process.returncode == 0
    with confined(
        repository, "keelwatt-serve.service", "serve", "--port", str(web), *places
    ) as process:
        assert answer_of(web, process) == 200, process.communicate()[1]


@pytest.mark.parametrize("unit", ["keelwatt-record.service", "keelwatt-serve.service"])
def test_the_restrictions_do_bite(repository: Path, unit: str):
    code = (
        "import os, mmap\n"
        "for act in (lambda: os.setuid(5), lambda: os.chroot('/'),"
        " lambda: mmap.mmap(-1, 4096, prot=7)):\n"
        "    try: act()\n"
        "    except OSError: print('refused')\n"
    )
    wrapper = str(repository / "tests/support/confined.py")
    command = [sys.executable, wrapper, str(repository / "deploy/systemd" / unit), "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    refused = done.stdout.count("refused")
    assert refused >= 2  # the memory rule wants Linux 6.3
