"""A card that loses power, simulated: an SQLite VFS that forgets or tears what was not synced.

The VFS (through apsw, which brings its own SQLite) passes everything to the real files, and keeps
beside each what a disk would surely hold: the bytes as of the last sync. At a random write or sync
the power goes: of each write since that file's last sync, some of its 512-byte sectors arrive, or
all, or none, or garbage does.

Two kinds of card. A kind one damages only bytes that were being written ("powersafe overwrite").
A rough one may lose the whole 4096-byte block around them, also bytes synced earlier.
"""

import random
from dataclasses import dataclass, field
from pathlib import Path

import apsw

from logger.store import backup
from logger.store import connect as connect_module

SECTOR, BLOCK = 512, 4096


class PowerCutError(Exception):
    """The power is gone."""


@dataclass
class Held:
    """What a disk holds of one file: surely, and perhaps."""

    sure: bytearray = field(default_factory=bytearray)
    perhaps: list[tuple[int, bytes | None]] = field(default_factory=list)  # None: truncated there

    def sync(self):
        for offset, data in self.perhaps:
            put(self.sure, offset, data)
        self.perhaps = []

    def after_cut(self, rng: random.Random, rough: bool) -> bytearray:
        image = bytearray(self.sure)
        for offset, data in self.perhaps:
            if data is None:
                if rng.random() < 0.5:
                    put(image, offset, None)
                continue
            fate = rng.random()
            if fate < 0.3:
                put(image, offset, data)
            elif fate < 0.8:
                tear(image, offset, data, rng)
                if rough and rng.random() < 0.3:
                    spoil_block(image, offset, rng)
        return image


def put(image: bytearray, offset: int, data: bytes | None) -> None:
    if data is None:
        del image[offset:]
        return
    if len(image) < offset + len(data):
        image.extend(bytes(offset + len(data) - len(image)))
    image[offset : offset + len(data)] = data


def tear(image: bytearray, offset: int, data: bytes, rng: random.Random) -> None:
    """Each sector's share of the write arrives, or not, or as garbage."""
    start = 0
    while start < len(data):
        stop = min(len(data), start + SECTOR - (offset + start) % SECTOR)
        fate = rng.random()
        if fate < 0.45:
            put(image, offset + start, data[start:stop])
        elif fate < 0.6:
            put(image, offset + start, rng.randbytes(stop - start))
        start = stop


def spoil_block(image: bytearray, offset: int, rng: random.Random) -> None:
    start = offset // BLOCK * BLOCK
    room = min(BLOCK, len(image) - start)
    if room > 0:
        put(image, start, rng.randbytes(room))


class Disk:
    """All files of one simulated card, and when its power goes."""

    def __init__(self, cut_after: float, rng: random.Random) -> None:
        self.files: dict[str, Held] = {}
        self.left, self.steps, self.rng, self.dead = cut_after, 0, rng, False

    def step(self) -> None:
        self.left -= 1
        self.steps += 1
        self.dead = self.dead or self.left <= 0
        if self.dead:
            raise PowerCutError


class CutFile(apsw.VFSFile):
    def __init__(self, disk, name, flags):
        super().__init__("", name, flags)
        self.path = name.filename() if isinstance(name, apsw.URIFilename) else name
        self.disk = disk
        self.held = disk.files.setdefault(self.path, Held())

    def xWrite(self, data, offset):  # noqa: N802
        if not self.disk.dead:
            self.held.perhaps.append((offset, bytes(data)))
        self.disk.step()
        super().xWrite(data, offset)

    def xTruncate(self, size):  # noqa: N802
        if not self.disk.dead:
            self.held.perhaps.append((size, None))
        self.disk.step()
        super().xTruncate(size)

    def xSync(self, flags):  # noqa: N802
        self.disk.step()
        self.held.sync()


class CutVfs(apsw.VFS):
    def __init__(self, disk):
        self.disk = disk
        super().__init__("powercut", "")

    def xOpen(self, name, flags):  # noqa: N802
        return CutFile(self.disk, name, flags)

    def xDelete(self, path, sync):  # noqa: N802
        self.disk.step()
        self.disk.files.pop(path, None)
        super().xDelete(path, sync)


class Cursor:
    def __init__(self, db, cursor):
        self._cursor, self.lastrowid, self.rowcount = cursor, db.last_insert_rowid(), db.changes()

    def __iter__(self):
        return iter(self._cursor)

    def fetchone(self):
        return self._cursor.fetchone()

    def fetchall(self):
        return self._cursor.fetchall()


class Connection:
    """What the store uses of `sqlite3.Connection`, over apsw and the VFS above."""

    def __init__(self, uri, synchronous):
        flags = apsw.SQLITE_OPEN_URI | apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE
        self._db = apsw.Connection(f"{uri}{'&' if '?' in uri else '?'}vfs=powercut", flags=flags)
        self._synchronous = synchronous

    @property
    def in_transaction(self):
        return self._db.in_transaction

    def execute(self, statement, bindings=()):
        statement = statement.replace("synchronous = FULL", f"synchronous = {self._synchronous}")
        statement = statement.replace("checkpoint = 250", "checkpoint = 20")  # oftener than live
        return Cursor(self._db, self._db.execute(statement, bindings))

    def executemany(self, statement, rows):
        return Cursor(self._db, self._db.executemany(statement, rows))

    def close(self):
        try:
            self._db.close(True)
        except apsw.IOError as error:
            # The last one to read asks for a lock that a file opened for reading cannot have;
            # SQLite itself passes over that, apsw tells it.
            if error.extendedresult != apsw.SQLITE_IOERR_LOCK:
                raise


class Cut:
    """One stage of a log's life on a card that loses power at a step of it.

    Args:
        monkeypatch: Puts the card under the store.
        folder: All files below it lie on the card; those there already are surely on it.
        cut_after: Writes, syncs and new names until the power goes.
        stage: What is done.
    """

    def __init__(self, monkeypatch, folder: Path, cut_after: float, seed: int, stage) -> None:
        self.folder = folder
        self.disk = Disk(cut_after, random.Random(seed))
        for path in folder.iterdir():
            self.disk.files[str(path)] = Held(bytearray(path.read_bytes()))
        vfs = CutVfs(self.disk)
        self._put_under(monkeypatch)
        try:
            stage()
        except (PowerCutError, apsw.Error):
            assert self.disk.dead, "the stage failed by itself"
        finally:
            monkeypatch.undo()
            vfs.unregister()

    def _put_under(self, monkeypatch) -> None:
        disk, replace, unlink = self.disk, Path.replace, Path.unlink

        def sync(path: Path) -> None:
            disk.step()
            if str(path) in disk.files:
                disk.files[str(path)].sync()

        def renamed(path: Path, to: Path) -> None:
            disk.step()
            disk.files[str(to)] = disk.files.pop(str(path))
            replace(path, to)

        def removed(path: Path, missing_ok: bool = False) -> None:
            if not disk.dead:
                disk.files.pop(str(path), None)
            unlink(path, missing_ok)

        monkeypatch.setattr(
            connect_module, "_raw", lambda uri, locking="NORMAL": Connection(uri, "FULL")
        )
        monkeypatch.setattr(backup, "sync", sync)
        monkeypatch.setattr(Path, "replace", renamed)
        monkeypatch.setattr(Path, "unlink", removed)

    def image(self, to: Path, rough: bool = False) -> Path:
        """The files as the card has them after the cut, in a new folder."""
        to.mkdir()
        for name, held in self.disk.files.items():
            if not held.sure and self.disk.rng.random() < 0.3:
                continue  # not even the name has come to the card
            (to / Path(name).name).write_bytes(held.after_cut(self.disk.rng, rough))
        return to
