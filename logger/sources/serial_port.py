"""Opening a serial port: one way for all who read one.

Only a device of this computer is opened: the serial library also takes addresses with "://" in
them, some of which write to files. The lines DTR and RTS are low from the start, as a high one
resets some boards and switches some adapters to sending.
"""

from typing import TYPE_CHECKING

from logger.errors import BoatFileError

if TYPE_CHECKING:
    import serial


def open_port(
    port: str,
    baud: int,
    *,
    parity: str = "N",
    stop_bits: int = 1,
    timeout_s: float = 0.0,
    exclusive: bool | None = None,
) -> "serial.Serial":
    """The port, open.

    Args:
        timeout_s: How long a read waits. exclusive: Nobody else may open it.
    Raises:
        BoatFileError: The name is an address and no device.
        serial.SerialException: It cannot be opened; OSError and ValueError likewise.
    """
    import serial

    if "://" in port:
        raise BoatFileError(
            f"boat.toml: port = {port!r}: wants a device of this computer, such as "
            '/dev/serial/by-id/..., no address; for a network device use tcp = "host:port"'
        )
    line = serial.Serial(
        baudrate=baud, parity=parity, stopbits=stop_bits, timeout=timeout_s, exclusive=exclusive
    )
    line.port = port
    line.dtr = line.rts = False
    line.open()
    return line
