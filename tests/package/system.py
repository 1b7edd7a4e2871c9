"""A bare Debian in a folder: made once for each release, unpacked afresh for each run."""

import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
from mirror import find_mirror

# A system "without desktop" has these; nothing of Python's but the interpreter.
USUAL = "systemd,systemd-sysv,python3,dbus,udev,util-linux,passwd,iproute2,openssl"


@dataclass(frozen=True)
class System:
    """One such system; nothing in it reaches a network."""

    root: Path

    def run(self, *words: str, **given: str) -> subprocess.CompletedProcess[str]:
        """Runs a command inside. given: environment."""
        told = [f"{name}={value}" for name, value in given.items()]
        return subprocess.run(
            ["unshare", "--net", "--mount", "--pid", "--fork", "sh", "-c",
             'mount -t proc proc "$0/proc" && exec chroot "$0" env "$@"',
             str(self.root), "DEBIAN_FRONTEND=noninteractive", *told, *words],
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def apt(self, *words: str) -> subprocess.CompletedProcess[str]:
        """apt-get, which answers nothing and asks nobody."""
        return self.run("apt-get", "-y", "-q", "--no-install-recommends", *words)

    def install(self, package: Path) -> subprocess.CompletedProcess[str]:
        """Installs one package file."""
        shutil.copy(package, self.root / "tmp" / package.name)
        done = self.apt("install", f"/tmp/{package.name}")
        (self.root / "tmp" / package.name).unlink()
        return done

    @property
    def release(self) -> str:
        """The release in use, "" for none."""
        return self.run("readlink", "/opt/keelwatt/current").stdout.strip()


def make(work: Path, suite: str) -> System:
    """A fresh system of this Debian release."""
    packed = work / f"{suite}.tar"
    if not packed.exists():
        part = packed.with_suffix(".part.tar")
        subprocess.run(
            ["mmdebstrap", "--quiet", "--variant=apt", f"--include={USUAL}", suite, str(part),
             find_mirror().uri],
            check=True,
        )  # fmt: skip
        part.rename(packed)
    root = work / suite
    shutil.rmtree(root, ignore_errors=True)
    root.mkdir()
    subprocess.run(["tar", "-x", "-f", str(packed), "-C", str(root)], check=True)
    return System(root)
