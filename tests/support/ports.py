"""A serial port with something that speaks at its other end."""

import os
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def speaking_port(data: bytes, every_s: float = 0.05) -> Iterator[tuple[str, int]]:
    """A port on which `data` comes again and again; its name, and the end that sees writes."""
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    over = threading.Event()

    def speak() -> None:
        while data and not over.wait(every_s):
            os.write(master, data)

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        yield os.ttyname(slave), master
    finally:
        over.set()
        thread.join()
        os.close(master)
        os.close(slave)
