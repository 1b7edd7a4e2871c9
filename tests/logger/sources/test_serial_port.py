"""Every serial port is opened by one function: a device only, its control lines low."""

import os
import pty
from pathlib import Path

import pytest
import serial

from logger.decode.counters import Counters
from logger.discover.listen import serial_port
from logger.errors import BoatFileError
from logger.sources import can_bus, modbus_line
from logger.sources.byte_stream import SerialStream, open_stream
from logger.sources.options import Options
from logger.sources.serial_port import open_port


@pytest.fixture
def terminal():
    master, slave = pty.openpty()
    yield os.ttyname(slave)
    os.close(master)
    os.close(slave)


def test_an_address_of_the_serial_library_is_refused_and_writes_nothing(tmp_path: Path):
    precious = tmp_path / "precious"
    precious.write_text("kept")
    address = f"spy:///dev/null?file={precious}"
    options = Options("gps", {"port": address}, tmp_path)
    for opening in (
        lambda: SerialStream(address, 4800),
        lambda: open_stream(options),
        lambda: modbus_line._client(options),
        lambda: can_bus.open_reader(Options("can", {"channel": address}, tmp_path), Counters("c")),
        lambda: can_bus.open_reader(
            Options("can", {"interface": "slcan", "channel": address}, tmp_path), Counters("c")
        ),
        lambda: serial_port(address),
    ):
        with pytest.raises(BoatFileError, match="no address"):
            opening()
    assert precious.read_text() == "kept"


def test_control_lines_are_low_before_the_port_opens(
    terminal: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    seen = []
    really = serial.Serial.open

    def watched(port: serial.Serial) -> None:
        seen.append((port.dtr, port.rts))
        really(port)

    monkeypatch.setattr(serial.Serial, "open", watched)
    SerialStream(terminal, 4800).close()
    open_port(terminal, 4800).close()
    modbus_line._client(Options("charger", {"port": terminal}, tmp_path)).close()
    serial_port(terminal)
    assert len(seen) >= 4
    assert set(seen) == {(False, False)}
