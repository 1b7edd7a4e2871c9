"""One file with a whole release: made at home, looked at on the board before any of it is used.

    release_file.py make TREE FILE VERSION MADE_S PROCESSOR KEY
    release_file.py unpack SIGNER FOLDER PROCESSOR PYTHON VERSION MADE_S <FILE

Form: a line "keelwatt release 1"; a line with the length of the list in 8 digits; 64 bytes, the
list's signature (Ed25519, RFC 8032); the list, as JSON; then the contents it names, end to end.
The list has the SHA-256 and the size of each content, so that its signature covers all of the file.
There is nothing else in it: no links, no rights, no owners, nothing compressed.

Unpacking reads a stream, writes only below FOLDER, and only once the signature is known to be
right. VERSION and MADE_S are then those of the release in use: an older one is refused. Runs on the
system's own Python, with openssl for the signature.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

BEGIN = b"keelwatt release 1\n"
SIGNATURE_BYTES = 64  # source: RFC 8032, 5.1.6
# Three times what a release is today, so that a mistake cannot fill the card; assumed.
MOST_LIST, MOST_FILES, MOST_BYTES = 1_000_000, 2000, 400_000_000
# An installed release takes 2.2 times its wheels (201 of 92 MB, measured on Debian 12), and there
# is the log's copy.
ROOM = 4
PIECE = 1 << 20  # bytes at a time; assumed
NAME = re.compile(r"(deploy|wheels)(/[A-Za-z0-9][A-Za-z0-9._@+-]{0,199}){1,3}")
DIGEST = re.compile(r"[0-9a-f]{64}")
VERSION = re.compile(r"[0-9]{1,6}(\.[0-9]{1,6}){1,3}")
WHOLE = re.compile(r"[0-9]{1,12}")


class RefusedError(ValueError):
    """What cannot be taken; its text is for people."""


@dataclass(frozen=True)
class Content:
    """Some bytes, and the names they are to have."""

    names: tuple[str, ...]
    size: int
    digest: str


@dataclass(frozen=True)
class Release:
    """What a file's list says.

    Args:
        version: Numbers with points between.
        made_s: When its source was committed, since 1970. [s]
        processor: As `uname -m` says on the board.
        contents: In the order in which they follow.
    """

    version: str
    made_s: int
    processor: str
    contents: tuple[Content, ...]


def numbers(version: str) -> tuple[int, ...]:
    """A version to be compared. Raises RefusedError."""
    if not VERSION.fullmatch(version):
        raise RefusedError("its version is no number such as 0.2.0")
    return tuple(int(part) for part in version.split("."))


def understood(text: bytes) -> Release:
    """The list of a file. Raises RefusedError where it is not of its form."""
    try:
        told = json.loads(text)
        release = Release(
            told["version"],
            told["made_s"],
            told["processor"],
            tuple(Content(tuple(names), size, digest) for names, size, digest in told["files"]),
        )
        _check(release)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        if isinstance(error, RefusedError):
            raise
        raise RefusedError("its list cannot be read") from None
    return release


def _check(release: Release) -> None:
    numbers(release.version)
    for whole in (release.made_s, *(content.size for content in release.contents)):
        if type(whole) is not int or whole < 0:
            raise RefusedError("its list cannot be read")
    if not all(DIGEST.fullmatch(content.digest) for content in release.contents):
        raise RefusedError("its list cannot be read")
    names = [name for content in release.contents for name in content.names]
    for name in names:
        if not NAME.fullmatch(name):
            raise RefusedError("a name in it is none that a release has")
    folders = {str(parent) for name in names for parent in Path(name).parents}
    if len(set(names)) < len(names) or folders & set(names):
        raise RefusedError("a name stands in it twice")
    if len(names) > MOST_FILES or sum(one.size for one in release.contents) > MOST_BYTES:
        raise RefusedError("it is larger than any release")


def head(stream: BinaryIO, signed: Callable[[bytes, bytes], bool]) -> Release:
    """The list at the beginning of a file.

    Args:
        signed: Tells of a list and a signature whether they belong together.
    Raises:
        RefusedError: It is no release, not a whole one, or not signed as it should be.
    """
    if stream.read(len(BEGIN)) != BEGIN:
        raise RefusedError("this is no release of keelwatt")
    length = stream.read(9)
    if not re.fullmatch(rb"[0-9]{8}\n", length) or int(length) > MOST_LIST:
        raise RefusedError("this is no whole release: copy it again")
    signature, text = stream.read(SIGNATURE_BYTES), stream.read(int(length))
    if len(text) < int(length):
        raise RefusedError("this is no whole release: copy it again")
    if not signed(text, signature):
        raise RefusedError("it is not signed by the key that this computer knows")
    return understood(text)


def signed_by(signer: Path) -> Callable[[bytes, bytes], bool]:
    """Looks at signatures by a public key. Raises RefusedError where there is none."""
    if not signer.is_file():
        raise RefusedError(
            "this computer knows no key that releases are signed by: bring a signed package first"
        )

    def fits(text: bytes, signature: bytes) -> bool:
        with tempfile.TemporaryDirectory() as folder:
            both = Path(folder) / "list", Path(folder) / "signature"
            both[0].write_bytes(text)
            both[1].write_bytes(signature)
            command = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", str(signer), "-rawin",
                       "-in", str(both[0]), "-sigfile", str(both[1])]  # fmt: skip
            done = subprocess.run(command, capture_output=True, check=False)
        return done.returncode == 0

    return fits


def fits_here(release: Release, processor: str, python: str, version: str, made_s: int) -> None:
    """Whether a release is one for this computer, and newer. Raises RefusedError."""
    if release.processor != processor:
        raise RefusedError(f"it is for a {release.processor} computer, this one is {processor}")
    if f"wheels/{python}/SHA256SUMS" not in (n for one in release.contents for n in one.names):
        raise RefusedError(f"it has nothing for Python {python}, which this computer has")
    theirs, ours = (numbers(release.version), release.made_s), (numbers(version), made_s)
    if theirs == ours:
        raise RefusedError(f"release {version} is in use already")
    if theirs < ours:
        raise RefusedError(
            f"release {release.version} is older than the one in use: going back is a button"
        )


def unpack(stream: BinaryIO, release: Release, folder: Path, python: str) -> None:
    """Writes what this computer needs of the contents that follow a list.

    Args:
        folder: Made here; not there yet.
    Raises:
        RefusedError: A content is not what the list says, or there is no room.
    """
    room = shutil.disk_usage(folder.parent).free
    if room < ROOM * sum(one.size for one in release.contents):
        raise RefusedError("there is no room for it on the card")
    folder.mkdir(0o700)
    for content in release.contents:
        wanted = [n for n in content.names if n.startswith(("deploy/", f"wheels/{python}/"))]
        _copy(stream, content, [folder / name for name in wanted])
    if stream.read(1):
        raise RefusedError("there is more in it than its list says")
    (folder / f"wheels/{python}/made").write_text(f"{release.version}\n{release.made_s}\n")


def _copy(stream: BinaryIO, content: Content, places: list[Path]) -> None:
    """One content to its places. Raises RefusedError where it is not what it should be."""
    summed = hashlib.sha256()
    files = []
    for place in places:
        place.parent.mkdir(parents=True, exist_ok=True)
        files.append(place.open("xb"))
    for piece in _pieces(stream, content.size):
        summed.update(piece)
        for file in files:
            file.write(piece)
    for file in files:
        file.close()
    if summed.hexdigest() != content.digest:
        raise RefusedError("it was damaged or cut off on the way: copy it again")


def _pieces(stream: BinaryIO, size: int) -> Iterator[bytes]:
    while size > 0 and (piece := stream.read(min(size, PIECE))):
        size -= len(piece)
        yield piece


def make(tree: Path, file: Path, told: dict[str, Any], key: Path) -> None:
    """A release of what lies in a folder; the same each time.

    Args:
        told: version, made_s, processor.
        key: The private key's file.
    """
    by_digest: dict[str, list[Path]] = {}
    for path in sorted(p for p in tree.rglob("*") if p.is_file()):
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        by_digest.setdefault(digest, []).append(path)
    files = [
        [[str(p.relative_to(tree)) for p in paths], paths[0].stat().st_size, digest]
        for digest, paths in by_digest.items()
    ]
    text = json.dumps({**told, "files": files}).encode()
    _check(understood(text))
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder) / "list"
        listed.write_bytes(text)
        command = ["openssl", "pkeyutl", "-sign", "-inkey", str(key), "-rawin", "-in", str(listed)]
        signature = subprocess.run(command, capture_output=True, check=True).stdout
    part = file.with_name(file.name + ".part")
    with part.open("wb") as out:
        out.write(BEGIN + f"{len(text):08}\n".encode() + signature + text)
        for paths in by_digest.values():
            out.write(paths[0].read_bytes())
    part.replace(file)


def main(words: list[str]) -> None:
    """Does one of the two."""
    match words:
        case ["make", tree, file, version, made_s, processor, key]:
            told = {"version": version, "made_s": int(made_s), "processor": processor}
            make(Path(tree), Path(file), told, Path(key))
        case ["unpack", signer, folder, processor, python, version, made_s]:
            release = head(sys.stdin.buffer, signed_by(Path(signer)))
            whole = int(made_s) if WHOLE.fullmatch(made_s) else 0
            fits_here(release, processor, python, version, whole)
            try:
                unpack(sys.stdin.buffer, release, Path(folder), python)
            except (RefusedError, OSError):
                shutil.rmtree(folder, ignore_errors=True)
                raise
            print(release.version)
        case _:
            raise RefusedError("usage: release_file.py make|unpack ...")


if __name__ == "__main__":
    os.umask(0o022)
    try:
        main(sys.argv[1:])
    except (RefusedError, OSError, subprocess.CalledProcessError) as error:
        sys.exit(f"keelwatt: the release was refused: {error}; nothing was changed")
