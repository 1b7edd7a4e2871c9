"""Recordings looked at without being stored: what would become of them, and a map for a table."""

from contextlib import closing
from pathlib import Path

from logger import boat as boats
from logger.account import Account
from logger.decode.guess_map import guess
from logger.errors import RecordingError
from logger.reading import Item
from logger.sources.recordings.opened import open_bytes
from logger.sources.recordings.recording import kind_of
from replay import player
from replay.account import Tally
from replay.into_log import Recordings

BEGINNING = 65_536  # bytes of a table that a guess is made from; assumed


class _Nowhere:
    """A sink that keeps nothing."""

    def add(self, item: Item) -> None: ...


def account_of(played: Recordings, boat_file: Path | None) -> Account:
    """What would become of every line and frame. Raises RecordingError, BoatFileError."""
    boat = boats.load(boat_file) if boat_file else None
    source = player.open_recordings(
        list(played.files), boat, maps=list(played.maps), dbcs=list(played.dbcs)
    )
    tally = Tally(_Nowhere())
    with closing(source):
        player.play(source, tally)
    return tally.account(source.counters)


def proposal(path: Path) -> str:
    """A column map to be corrected, for a table that has none beside it; else empty.

    Raises:
        RecordingError: It is no table that a map could be guessed for.
    """
    if kind_of(path) != "csv" or path.with_suffix(".toml").is_file():
        return ""
    with open_bytes(path) as stream:
        beginning = stream.read(BEGINNING)
    # the last line may be cut
    text = beginning.decode("utf-8-sig", "replace").rpartition("\n")[0]
    try:
        return guess(text)
    except ValueError as error:
        raise RecordingError(f"{path}: a table {error}") from None
