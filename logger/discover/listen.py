"""Listens to ports and buses for some seconds and says what each speaks. Never writes to one."""

import time
from collections.abc import Callable, Iterable

from logger.decode.can.frames import EXTENDED
from logger.discover.can_protocol import CanFrame, can_frames
from logger.discover.ports import Device
from logger.discover.serial_protocol import Guess, serial_bytes
from logger.sources.serial_port import open_port

# Bit rates in the order in which boats have them: NMEA 0183, its fast form, then Modbus devices,
# text of controllers and serial CAN adapters.
RATES = (4800, 38400, 9600, 19200, 115200)
SERIAL_S = 2.5  # a device that speaks once a second is heard twice
CAN_S = 3.0
MOST_FRAMES = 5000
SURE = 0.9
Progress = Callable[[str], None]


def heard(devices: Iterable[Device], progress: Progress = lambda text: None) -> tuple[str, ...]:
    """One sentence for each device, with what it speaks where it can be heard.

    Args:
        progress: Told what is being listened to.
    """
    sentences = []
    for device in devices:
        said = ""
        if device.kind == "serial":
            progress(device.name)
            said = _serial_sentence(device.stable_name or device.name)
        elif device.kind == "can" and device.text == "up":
            progress(device.name)
            said = _can_sentence(device.name)
        sentences.append(f"{device.sentence}{said}")
    return tuple(sentences)


def _serial_sentence(port: str) -> str:
    try:
        rate, guess = serial_port(port)
    except OSError as error:
        return f": cannot be listened to ({_reason(error)})"
    at = f" at {rate} bit/s" if rate else ""
    return f": {guess.protocol}{at}, {guess.text}"


def _can_sentence(channel: str) -> str:
    try:
        guesses = can_bus(channel)
    except OSError as error:
        return f": cannot be listened to ({_reason(error)})"
    return ": " + "; ".join(f"{g.protocol}, {g.text}" for g in guesses)


def serial_port(
    port: str, seconds: float = SERIAL_S, rates: Iterable[int] = RATES
) -> tuple[int | None, Guess]:
    """The bit rate at which a port makes sense, and what it speaks then.

    Raises:
        OSError: It cannot be opened, or something else reads it.
    """
    best: tuple[int | None, Guess] = (None, Guess("silence", 1.0, "nothing came"))
    silent = 0
    for rate in rates:
        guess = serial_bytes(_read_serial(port, rate, seconds))
        if guess.protocol == "silence":
            silent += 1
            if silent == 2:  # at a wrong rate a speaking line gives noise, not silence
                break
            continue
        if guess.sureness_frac >= SURE:
            return rate, guess
        if best[1].protocol in ("silence", "noise"):
            best = (rate if guess.protocol != "noise" else None, guess)
    return best


def serial_text(port: str, rate: int, seconds: float) -> list[str]:
    """The whole lines that a port sends.

    Raises:
        OSError: It cannot be opened, or something else reads it.
    """
    text = _read_serial(port, rate, seconds).decode("ascii", "replace")
    return text.replace("\r", "\n").split("\n")[1:-1]  # the first and last may be cut


def _read_serial(port: str, rate: int, seconds: float) -> bytes:
    """What comes in."""
    line = open_port(port, rate, timeout_s=0.1, exclusive=True)
    try:
        end, data = time.monotonic() + seconds, bytearray()
        while time.monotonic() < end and len(data) < 20_000:
            data += line.read(512)
        return bytes(data)
    finally:
        line.close()


def can_bus(
    channel: str, interface: str = "socketcan", seconds: float = CAN_S
) -> tuple[Guess, ...]:
    """What a CAN bus that is up speaks.

    Raises:
        OSError: It cannot be opened.
    """
    import can

    try:
        bus = can.Bus(channel=channel, interface=interface)
    except can.CanError as error:
        raise OSError(str(error)) from error
    frames: list[CanFrame] = []
    try:
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0 and len(frames) < MOST_FRAMES:
            message = bus.recv(left)
            if message and not message.is_error_frame and not message.is_remote_frame:
                extended = EXTENDED if message.is_extended_id else 0
                frames.append((message.arbitration_id | extended, bytes(message.data)))
    except can.CanError as error:
        raise OSError(str(error)) from error
    finally:
        bus.shutdown()
    return can_frames(frames)


def _reason(error: OSError) -> str:
    return " ".join((error.strerror or str(error)).split())[:100]
