"""Keys, signed folders of wheels and release files, made as deploy's scripts make them."""

import shutil
import subprocess
import sys
from pathlib import Path

from tests.support.board import GOOD, Board

# As only_board in deploy/platform.sh.
NO_BOARD_S = shutil.ignore_patterns("__pycache__", "debian", "image", "lock")
PYTHON = f"{sys.version_info[0]}.{sys.version_info[1]}"


def openssl(*options: str) -> None:
    """Runs it."""
    subprocess.run(["openssl", *options], check=True, capture_output=True)


def make_key(file: Path) -> Path:
    """A private key."""
    openssl("genpkey", "-algorithm", "ed25519", "-out", str(file))
    return file


def signed(folder: str | Path, key: Path) -> Path:
    """A folder of wheels, signed as deploy/wheelhouse.sh does it."""
    wheels = Path(folder)
    openssl("pkey", "-in", str(key), "-pubout", "-out", str(wheels / "release.pub"))
    openssl(
        "pkeyutl", "-sign", "-inkey", str(key), "-rawin", "-in", str(wheels / "SHA256SUMS"),
        "-out", str(wheels / "SHA256SUMS.sig"),
    )  # fmt: skip
    return wheels


def release_file(
    board: Board, key: Path, version: str, program: str = GOOD, store: str = "", **told: str
) -> Path:
    """One file with a release for this board.

    Args:
        told: python, processor, made_s; each as this computer has it unless told.
    """
    tree = board.root / f"tree-{version}"
    shutil.rmtree(tree, ignore_errors=True)
    wheels = tree / "wheels" / told.get("python", PYTHON)
    shutil.copytree(signed(board.wheels(version, program, store), key), wheels)
    deploy = board.repository / "deploy"
    shutil.copytree(deploy, tree / "deploy", ignore=NO_BOARD_S)
    file = board.root / f"keelwatt-{version}.release"
    uname = subprocess.run(["uname", "-m"], capture_output=True, text=True, check=True).stdout
    words = [version, told.get("made_s", "1000"), told.get("processor", uname.strip()), str(key)]
    command = [sys.executable, str(deploy / "release_file.py"), "make", str(tree), str(file)]
    subprocess.run([*command, *words], check=True)
    return file


def send(board: Board, file: Path | bytes) -> None:
    """Lays a file where the pages lay what a phone has sent."""
    place = board.root / "var/lib/keelwatt/incoming"
    place.mkdir(exist_ok=True)
    content = file if isinstance(file, bytes) else file.read_bytes()
    (place / "keelwatt.release").write_bytes(content)
