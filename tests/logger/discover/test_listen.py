"""Listening to ports (a pair of pseudo-terminals) and buses (python-can's virtual one)."""

import os
import threading
import time

import can
import pytest

from logger.discover import listen
from logger.discover.ports import Device
from tests.support.ports import speaking_port

SENTENCES = b"$IIVHW,,T,213.0,M,5.0,N,9.3,K*74\r\n$IIRPM,S,1,1250.0,,A*58\r\n"  # ref. values 4.1


def test_serial_port_hears_nmea_0183_and_says_nothing_itself():
    with speaking_port(SENTENCES) as (port, master):
        rate, guess = listen.serial_port(port, 0.4)
        os.set_blocking(master, False)
        with pytest.raises(BlockingIOError):  # nothing was written to the device
            os.read(master, 1)
    assert (rate, guess.protocol) == (4800, "NMEA 0183")


def test_serial_port_gives_a_silent_line_up_soon():
    with speaking_port(b"") as (port, _):
        begun = time.monotonic()
        rate, guess = listen.serial_port(port, 0.2)
    assert (rate, guess.protocol) == (None, "silence")
    assert time.monotonic() - begun < 2.0


def test_heard_leaves_a_console_alone(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(listen, "serial_port", lambda *_: pytest.fail("opened"))
    there = [Device("console", "/dev/ttyS0", "left alone")]
    assert listen.heard(there) == ("this computer's own console /dev/ttyS0, left alone",)


def test_heard_tells_of_a_port_that_cannot_be_opened():
    there = [Device("serial", "/dev/ttyNONE7", "", None), Device("1-wire", "28-1", "temperature")]
    first, second = listen.heard(there)
    assert "cannot be listened to" in first
    assert second == "1-wire probe 28-1, temperature"


def test_heard_appends_what_a_port_speaks():
    told: list[str] = []
    with speaking_port(SENTENCES) as (port, _):
        (sentence,) = listen.heard([Device("serial", port, "")], told.append)
    assert sentence.startswith(f"serial port {port}: NMEA 0183 at 4800 bit/s, ")
    assert told == [port]


def test_can_bus_hears_what_comes():
    sender = can.Bus(interface="virtual", channel="listen")
    over = threading.Event()

    def speak() -> None:
        data = bytes.fromhex("000014ABFC777407")  # ref. values 4.3: battery status
        while not over.wait(0.02):
            sender.send(can.Message(arbitration_id=0x19F21421, data=data, is_extended_id=True))

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        (guess,) = listen.can_bus("listen", "virtual", 0.5)
    finally:
        over.set()
        thread.join()
        sender.shutdown()
    assert guess.protocol == "NMEA 2000"


def test_can_bus_that_is_not_there_is_an_os_error():
    with pytest.raises(OSError, match=r"\w"):
        listen.can_bus("can_not_there", "socketcan", 0.1)
