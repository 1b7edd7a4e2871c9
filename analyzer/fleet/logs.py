"""Which logs there are, what is in them by content, and how they come to where the work is."""

import glob
import hashlib
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from analyzer.errors import NoLog, NotInstalled, installed
from analyzer.exchange import packed_log
from logger.store import Store

ENDINGS = (".sqlite", ".sqlite.zst")


@dataclass(frozen=True)
class LogRef:
    """One log: a path, or a URL of an object store.

    boat: Text of a boat file, for a log that keeps none.
    """

    where: str
    boat: str | None = None

    @property
    def remote(self) -> bool:
        """Whether it must be fetched."""
        return "://" in self.where


def find(where: str, boat: str | None = None) -> list[LogRef]:
    """The logs of a folder (and those below it), a pattern, or an object store's URL; by name.

    Args:
        where: A folder, a file, a pattern such as "boats/*/2026*.sqlite", or such a URL.
        boat: Text of a boat file for logs that keep none.
    Raises:
        NoLog: There is none.
        NotInstalled: A URL, and fsspec or what it needs for it is not there.
    """
    found = _remote(where) if "://" in where else _local(where)
    if not found:
        raise NoLog(
            f"there is no log at {where}: wanted are files ending in .sqlite or .sqlite.zst"
        )
    return [LogRef(name, boat) for name in sorted(set(found))]


def digest(log: LogRef) -> str:
    """What tells the log's content from any other's.

    Raises:
        OSError: It cannot be read.
    """
    if log.remote:
        system, path = _system(log.where)
        return str(system.ukey(path))
    whole = hashlib.sha256()
    for part in (Path(log.where), _wal(Path(log.where))):
        if part.is_file():
            with part.open("rb") as file:
                whole.update(hashlib.file_digest(file, "sha256").digest())
    return whole.hexdigest()


@contextmanager
def fetched(log: LogRef) -> Iterator[Path]:
    """A copy of the log of one's own, to be written to; gone afterwards.

    Raises:
        OSError, BadImport, StoreError: It cannot be read.
    """
    with TemporaryDirectory(prefix="keelwatt-fleet-") as folder:
        copy = Path(folder) / "log.sqlite"
        if log.remote:
            system, path = _system(log.where)
            raw = Path(folder) / Path(path).name
            system.get_file(path, str(raw))
            _copy(raw, copy)
        else:
            _copy(Path(log.where), copy)
        yield copy


def _copy(path: Path, to: Path) -> None:
    if path.suffix == packed_log.PACKED:
        packed_log.unpack(path, to)
    elif _wal(path).is_file() and _wal(path).stat().st_size:  # a recorder is, or was, at work
        with Store.open(path) as store:
            store.back_up(to)
    elif path != to:
        shutil.copyfile(path, to)


def _wal(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def _local(where: str) -> list[str]:
    path = Path(where).expanduser()
    if path.is_dir():
        paths = [p for p in path.rglob("*.sqlite*") if p.is_file()]
    elif path.is_file():
        paths = [path]
    else:
        paths = [p for p in map(Path, glob.glob(str(path), recursive=True)) if p.is_file()]
    return [str(p.absolute()) for p in paths if p.name.endswith(ENDINGS)]


def _remote(where: str) -> list[str]:
    system, path = _system(where)
    try:
        if glob.has_magic(path):
            names = system.glob(path)
        elif path.endswith(ENDINGS):
            names = [path] if system.exists(path) else []
        else:
            names = system.find(path)
    except OSError as error:
        raise NoLog(f"{where} cannot be listed: {error}") from error
    return [system.unstrip_protocol(name) for name in names if str(name).endswith(ENDINGS)]


def _system(where: str) -> tuple[Any, str]:
    fsspec = installed("fsspec", "a URL", "fleet")
    try:
        system, path = fsspec.core.url_to_fs(where)
    except (ImportError, ValueError) as error:
        raise NotInstalled(f"{where} cannot be opened: {error}") from error
    return system, str(path)
