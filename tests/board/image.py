"""Debian as it comes: a root made from the machine's own mirror, its kernel, and a card image.

Everything is made once in the work folder and kept there; each scenario gets a copy of the card.
"""

import contextlib
import os
import platform
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import boat
import feeds
from mirror import find_mirror

HERE = Path(__file__).parent
CARD_BYTES = 3 * 2**30
# Beside debootstrap's own choice: what a system "without desktop" has, and what the page takes for
# given: a user who may sudo, SSH, the network's time.
USUAL = (
    "openssh-server sudo systemd-timesyncd dbus python3-minimal python3 ca-certificates"
    " polkitd iproute2 ifupdown isc-dhcp-client kmod udev"
)
KERNELS = {"amd64": "linux-image-amd64", "arm64": "linux-image-arm64"}


def native_arch() -> str:
    """This machine's own processor, as Debian names it; "" for others."""
    return {"x86_64": "amd64", "aarch64": "arm64"}.get(platform.machine(), "")


def make_root(work: Path, arch: str) -> Path:
    """A bare board's root, in `work`; made once."""
    root, done = work / f"root-{arch}", work / f"root-{arch}.done"
    native = native_arch() == arch
    if not native:
        _run_foreign(arch)
    if done.exists():
        _furnish(root)
        return root
    mirror = find_mirror()
    shutil.rmtree(root, ignore_errors=True)
    first = ["debootstrap", f"--arch={arch}", mirror.codename, str(root), mirror.uri]
    log = work / f"root-{arch}.log"
    if native:
        _logged(first, log)
    else:
        _logged([first[0], "--foreign", *first[1:]], log)
        _logged(["chroot", str(root), "/debootstrap/debootstrap", "--second-stage"], log)
    (root / "etc/apt/sources.list").write_text("\n".join(mirror.lines) + "\n")
    with _open_for_packages(root):
        # The initial file system is made once, at the end: another processor takes long over it.
        settings = ["DEBIAN_FRONTEND=noninteractive", "INITRD=No"]
        inside = ["chroot", str(root), "env", *settings]
        _logged([*inside, "apt-get", "-qq", "update"], log)
        packages = [KERNELS[arch], *USUAL.split()]
        install = ["apt-get", "-qq", "install", "--yes", "--no-install-recommends"]
        _logged([*inside, *install, *packages], log)
        _logged([*inside, "apt-get", "-qq", "clean"], log)
        _logged([*inside, "update-initramfs", "-c", "-k", "all"], log)
    _furnish(root)
    done.touch()
    return root


def _logged(command: list[str], log: Path) -> None:
    with log.open("a") as out:
        done = subprocess.run(command, stdout=out, stderr=subprocess.STDOUT, check=False)
    if done.returncode:
        tail = "\n".join(log.read_text().split("\n")[-8:])
        raise SystemExit(f"{command[0]} failed; all of it is in {log}:\n{tail}")


def _run_foreign(arch: str) -> None:
    """Lets this machine's kernel run another processor's programs by qemu-user-static."""
    place = Path("/proc/sys/fs/binfmt_misc")
    if not (place / "register").exists():
        subprocess.run(["mount", "-t", "binfmt_misc", "none", str(place)], check=True)
    if arch != "arm64" or (place / "qemu-aarch64").exists():
        return
    # The ELF header of a 64-bit ARM program (ELF-64 Object File Format; machine 183).
    magic = r"\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00\xb7\x00"
    mask = r"\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff"
    line = f":qemu-aarch64:M::{magic}:{mask}:/usr/bin/qemu-aarch64-static:F"
    (place / "register").write_text(line)


@contextlib.contextmanager
def _open_for_packages(root: Path) -> Iterator[None]:
    """The root as packages want it while they are installed: names resolve, nothing starts."""
    shutil.copy("/etc/resolv.conf", root / "etc/resolv.conf")
    policy = root / "usr/sbin/policy-rc.d"
    policy.write_text("#!/bin/sh\nexit 101\n")
    policy.chmod(0o755)
    subprocess.run(["mount", "-t", "proc", "proc", str(root / "proc")], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(root / "proc")], check=True)
        policy.unlink()


INTERFACES = """auto lo
iface lo inet loopback
allow-hotplug eth0
iface eth0 inet dhcp
"""
UNITS = {
    "board-agent.service": """[Unit]
Description=the tests' hand on the board
[Service]
ExecStart=/usr/bin/python3 -u /usr/local/lib/agent.py
Restart=always
RestartSec=1
""",
    "board-bus.service": f"""[Unit]
Description=the boat's devices on its bus
[Service]
ExecStart=/usr/bin/python3 -u /usr/local/lib/bus.py play {boat.BUS} /usr/local/lib/demo.frames 1500
""",
    "board-sensors.service": """[Unit]
Description=the board's 1-wire probe and converter
Before=keelwatt-record.service
[Service]
Type=oneshot
ExecStart=sh /usr/local/lib/sensors.sh
""",
}


# Where a processor is emulated, devices may not be there in the minute and a half systemd waits.
PATIENCE = "[Manager]\nDefaultTimeoutStartSec=20min\n"


def _furnish(root: Path) -> None:
    """What the card maker's tool sets (name, user, SSH), and the tests' own hand."""
    etc = root / "etc"
    (etc / "hostname").write_text("keelwatt\n")
    (etc / "hosts").write_text("127.0.0.1 localhost\n127.0.1.1 keelwatt\n")
    (etc / "fstab").write_text("/dev/vda / ext4 defaults 0 1\n")
    (etc / "network/interfaces").write_text(INTERFACES)
    (etc / "machine-id").write_text("")
    (etc / "systemd/system.conf.d").mkdir(exist_ok=True)
    (etc / "systemd/system.conf.d/patience.conf").write_text(PATIENCE)
    inside = ["chroot", str(root)]
    users = (etc / "passwd").read_text()
    if "skipper:" not in users:
        subprocess.run(
            [*inside, "useradd", "-m", "-s", "/bin/bash", "-G", "sudo", "skipper"], check=True
        )
    # The page's `sudo` asks for a password; here nobody types.
    (etc / "sudoers.d/skipper").write_text("skipper ALL=(ALL) NOPASSWD: ALL\n")
    subprocess.run([*inside, "chpasswd"], input="skipper:a password\n", text=True, check=True)
    for name in ("agent.py", "bus.py"):
        shutil.copy(HERE / "inside" / name, root / "usr/local/lib" / name)
    feeds.write_bus_recording(root / "usr/local/lib/demo.frames")
    (root / "usr/local/lib/sensors.sh").write_text(boat.sensor_tree())
    wants = etc / "systemd/system/multi-user.target.wants"
    wants.mkdir(exist_ok=True)
    for name, text in UNITS.items():
        (etc / "systemd/system" / name).write_text(text)
        link = wants / name
        link.unlink(missing_ok=True)
        link.symlink_to(f"/etc/systemd/system/{name}")


def make_card(root: Path, card: Path) -> None:
    """A card image (ext4, no partitions) that holds the root."""
    card.unlink(missing_ok=True)
    with card.open("wb") as image:
        image.truncate(CARD_BYTES)
    options = ["-q", "-F", "-L", "board", "-m", "1", "-d", str(root)]
    subprocess.run(["mkfs.ext4", *options, str(card)], check=True)


def copy_card(card: Path, to: Path) -> Path:
    """A copy that keeps holes."""
    subprocess.run(["cp", "--sparse=always", "--reflink=auto", str(card), str(to)], check=True)
    return to


def kernel_of(root: Path) -> tuple[Path, Path]:
    """The root's kernel and its initial file system."""
    kernel = max((root / "boot").glob("vmlinuz-*"))
    return kernel, root / "boot" / kernel.name.replace("vmlinuz", "initrd.img")


def make_stick(folder: Path, stick: Path) -> None:
    """A USB stick (FAT, as they are sold) that holds a folder's content."""
    used = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file())
    stick.unlink(missing_ok=True)
    with stick.open("wb") as image:
        image.truncate((int(used * 1.1) + 600 * 2**20) // 2**20 * 2**20)
    subprocess.run(["mkfs.vfat", "-n", "STICK", str(stick)], check=True, stdout=subprocess.DEVNULL)
    names = [str(p) for p in folder.iterdir()]
    env = {**os.environ, "MTOOLS_SKIP_CHECK": "1"}
    subprocess.run(["mcopy", "-s", "-i", str(stick), *names, "::"], check=True, env=env)
