"""A memory card over the network block device protocol, as a program beside the emulator.

Cheap cards keep what is written in a memory of their own until they are told to flush, and lose
it with the power. So does this one: what was not flushed lies in memory, and `cut` forgets a
random part of it, block by block, in no order. It counts what is written.

Source: the NBD protocol document, fixed newstyle, simple replies.
"""

import contextlib
import os
import random
import socket
import struct
import threading
from collections.abc import Callable
from pathlib import Path

BLOCK = 4096
CACHE_BLOCKS = 8192  # 32 MB; beyond it the card writes by itself
_HELLO = struct.pack(">8sQH", b"NBDMAGIC", 0x49484156454F5054, 1)
_REPLY, _ACK, _INFO, _UNKNOWN = 0x3E889045565A9, 1, 3, 0x80000001
_FLAGS = 1 | 4  # has flags, can flush


class Card:
    """Serves an image on a socket until `close`.

    Args:
        image: The card's content; written to.
        address: A path for the socket.
        seed: What a power cut forgets.
    """

    def __init__(self, image: Path, address: Path, seed: int = 0) -> None:
        self.address = address
        self._fd = os.open(image, os.O_RDWR)
        self._bytes = os.fstat(self._fd).st_size
        self._random = random.Random(seed)
        self._held: dict[int, bytearray] = {}
        self._lock = threading.Lock()
        self.written = self.flushes = 0
        self._trap: tuple[int, Callable[[], None]] | None = None
        self._off = False
        self.trapped = threading.Event()
        address.unlink(missing_ok=True)
        self._door = socket.socket(socket.AF_UNIX)
        self._door.bind(str(address))
        self._door.listen()
        threading.Thread(target=self._serve, daemon=True).start()

    def when_held(self, blocks: int, act: Callable[[], None]) -> None:
        """Acts once as soon as so many blocks are held, and does nothing from then on."""
        with self._lock:
            self._trap = blocks, act

    def cut(self) -> tuple[int, int]:
        """The power is gone: blocks that were held, and how many of them are forgotten."""
        with self._lock:
            held = len(self._held)
            kept = [n for n in self._held if self._random.random() < 0.5]
            for number in kept:
                self._write_out(number)
            self._held.clear()
        return held, held - len(kept)

    def close(self) -> None:
        """Switched off in order: everything is kept."""
        with self._lock:
            self._flush()
        self._door.close()
        os.close(self._fd)

    def _serve(self) -> None:
        while True:
            try:
                peer, _ = self._door.accept()
            except OSError:
                return
            with peer, contextlib.suppress(ConnectionError, OSError):
                if self._agree(peer):
                    self._answer(peer)

    def _agree(self, peer: socket.socket) -> bool:
        peer.sendall(_HELLO)
        _take(peer, 4)
        while True:
            _, option, length = struct.unpack(">QII", _take(peer, 16))
            _take(peer, length)
            if option == 7:  # go
                info = struct.pack(">HQH", 0, self._bytes, _FLAGS)
                peer.sendall(struct.pack(">QIII", _REPLY, option, _INFO, len(info)) + info)
                peer.sendall(struct.pack(">QIII", _REPLY, option, _ACK, 0))
                return True
            if option == 2:  # abort
                return False
            peer.sendall(struct.pack(">QIII", _REPLY, option, _UNKNOWN, 0))

    def _answer(self, peer: socket.socket) -> None:
        while True:
            _, _, kind, handle, start, length = struct.unpack(">IHHQQI", _take(peer, 28))
            content = b""
            if kind == 2:  # the emulator ends
                return
            if kind == 1:
                data = _take(peer, length)
            with self._lock:
                if self._off:
                    return
                if kind == 0:
                    content = self._read(start, length)
                elif kind == 1:
                    self._hold(start, data)
                    self._spring()
                elif kind == 3:
                    self._flush()
                    self.flushes += 1
            peer.sendall(struct.pack(">IIQ", 0x67446698, 0, handle) + content)

    def _read(self, start: int, length: int) -> bytes:
        content = os.pread(self._fd, length, start)
        blocks = range(start // BLOCK, -(-(start + length) // BLOCK))
        if not any(number in self._held for number in blocks):
            return content
        whole = bytearray(content)
        for number in blocks:
            if number in self._held:
                low, high = max(start, number * BLOCK), min(start + length, (number + 1) * BLOCK)
                piece = self._held[number][low - number * BLOCK : high - number * BLOCK]
                whole[low - start : high - start] = piece
        return bytes(whole)

    def _hold(self, start: int, data: bytes) -> None:
        self.written += len(data)
        at = start
        while at < start + len(data):
            number, offset = divmod(at, BLOCK)
            piece = data[at - start : at - start + BLOCK - offset]
            if number not in self._held:
                self._held[number] = bytearray(os.pread(self._fd, BLOCK, number * BLOCK))
            self._held[number][offset : offset + len(piece)] = piece
            at += len(piece)
        while len(self._held) > CACHE_BLOCKS:
            number = next(iter(self._held))
            self._write_out(number)
            del self._held[number]

    def _spring(self) -> None:
        if self._trap and len(self._held) >= self._trap[0]:
            self._off = True
            self._trap[1]()
            self.trapped.set()

    def _flush(self) -> None:
        for number in self._held:
            self._write_out(number)
        self._held.clear()

    def _write_out(self, number: int) -> None:
        os.pwrite(self._fd, self._held[number], number * BLOCK)


def _take(peer: socket.socket, length: int) -> bytes:
    """Exactly so many bytes. Raises ConnectionError where the other side is gone."""
    parts = bytearray()
    while len(parts) < length:
        part = peer.recv(length - len(parts))
        if not part:
            raise ConnectionError("the emulator is gone")
        parts += part
    return bytes(parts)
