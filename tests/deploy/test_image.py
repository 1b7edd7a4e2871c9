"""The ready card, without building one; `sh tests/board/run.sh --image` starts one."""

import configparser
import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

# The UAPI group's Discoverable Partitions Specification.
TYPES = {
    "esp": "C12A7328-F81F-11D2-BA4B-00A0C93EC93B",
    "root-x86-64": "4F68BCE3-E8CD-4DB1-96E7-FBCAF984B709",
    "root-arm64": "B921B045-1DF0-41C3-AF44-4C6F280D3FAE",
    "linux-generic": "0FC63DAF-8483-4772-8E79-3D69D8477DE4",
}
# Stands for the real program: what it was asked to draw is seen in its place.
QRENCODE = '#!/bin/sh\nfor last; do :; done\necho "?>$last"\n'


@pytest.fixture(scope="module")
def recipe(repository: Path) -> str:
    return (repository / "deploy/image.sh").read_text()


@pytest.fixture(scope="module")
def tree(repository: Path) -> Path:
    return repository / "deploy/image/system"


@pytest.fixture(scope="module")
def errand(repository: Path):
    spec = importlib.util.spec_from_file_location("errand_here", repository / "deploy/errand.py")
    sys.path.insert(0, str(repository / "deploy"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    sys.path.pop(0)
    return module


@pytest.fixture
def make_sheet(tmp_path: Path, repository: Path):
    """Runs sheet.py with a seed; the folder with all it wrote."""
    program = tmp_path / "bin/qrencode"
    program.parent.mkdir()
    program.write_text(QRENCODE)
    program.chmod(0o755)

    def make(seed: bytes, name: str) -> Path:
        folder = tmp_path / name
        for place in ("etc/NetworkManager/system-connections", "var/lib/keelwatt"):
            (folder / "system" / place).mkdir(parents=True)
        (folder / "seed").write_bytes(seed)
        words = [folder / "seed", folder / "system", folder / "sheet"]
        done = subprocess.run(
            [sys.executable, repository / "deploy/image/sheet.py", *words],
            env={**os.environ, "PATH": f"{program.parent}:{os.environ['PATH']}"},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        (folder / "said").write_text(done.stderr)
        return folder

    return make


def read(folder: Path) -> tuple[str, str, str]:
    """Name, password and code, as a skipper reads them off the sheet."""
    found = re.search(
        r"name +(\S+)\n +password +(\S+)\n.*\n {3}(\S{14})\n",
        (folder / "sheet.txt").read_text(),
        re.S,
    )
    return found.group(1), found.group(2), found.group(3)


def test_the_sheet_tells_what_is_in_the_system(make_sheet, errand):
    folder = make_sheet(b"a seed of chance" * 2, "one")
    name, password, code = read(folder)
    network = folder / "system/etc/NetworkManager/system-connections/keelwatt.nmconnection"
    assert network.read_text() == errand.NETWORK.format(name=name, password=password)
    assert (folder / "system/var/lib/keelwatt/sheet-code").read_text() == f"{code}\n"
    assert f"WIFI:T:WPA;S:{name};P:{password};;" in (folder / "sheet.txt").read_text()
    for page in ("sheet.txt", "sheet.html"):
        assert all(word in (folder / page).read_text() for word in (name, password, code))


def test_names_and_codes_are_ones_that_the_pages_take(make_sheet, errand):
    from analyzer.faces.web import access

    folder = make_sheet(os.urandom(32), "one")
    name, password, code = read(folder)
    assert errand.WIFI.fullmatch(name)
    assert errand.PASSWORD.fullmatch(password)
    assert access.load_sheet_code(folder / "system/var/lib/keelwatt/sheet-code") == code
    assert access.Access(b"k" * 32, sheet_code=code).pair(code) == "change"


def test_one_seed_gives_one_sheet_and_another_shares_nothing(make_sheet):
    first, again = make_sheet(b"1" * 32, "first"), make_sheet(b"1" * 32, "again")
    other = make_sheet(b"1" * 31 + b"2", "other")
    assert (first / "sheet.html").read_text() == (again / "sheet.html").read_text()
    assert read(first) == read(again)
    assert all(a != b for a, b in zip(read(first), read(other), strict=True))


def test_nobody_else_reads_the_secrets(make_sheet):
    folder = make_sheet(b"1" * 32, "one")
    secret = [
        *folder.glob("sheet.*"),
        folder / "system/etc/NetworkManager/system-connections/keelwatt.nmconnection",
        folder / "system/var/lib/keelwatt/sheet-code",
    ]
    assert len(secret) == 4
    assert [path.stat().st_mode & 0o777 for path in secret] == [0o600] * 4


def test_a_seed_that_could_be_guessed_is_refused(make_sheet):
    folder = make_sheet(b"short", "one")
    assert "at least 16 bytes of chance" in (folder / "said").read_text()
    assert not (folder / "sheet.txt").exists()


def test_partitions_are_what_the_standard_calls_them(recipe: str, tree: Path):
    assert f"arm64 loader=aa64 root_type={TYPES['root-arm64']}" in recipe
    assert f"amd64 loader=x64 root_type={TYPES['root-x86-64']}" in recipe
    assert f"type={TYPES['esp']}" in recipe
    # What grows is found by its type and name: both are those of the table.
    grown = configparser.ConfigParser()
    grown.read(tree / "etc/repart.d/50-log.conf")
    kind, name = grown["Partition"]["Type"], grown["Partition"]["Label"]
    assert f"type={TYPES[kind]}, name={name}, uuid=$log_id" in recipe


def test_nothing_is_there_that_lets_anybody_in(recipe: str):
    packages = set(re.findall(r"[a-z0-9-]+", " ".join(re.findall(r'packages="(.*)"', recipe))))
    assert {"network-manager", "avahi-daemon", "systemd-sysv"} <= packages
    assert not packages & {"openssh-server", "dropbear", "telnetd", "sudo", "modemmanager", "cups"}
    options = re.search(r"(?m)^options (.*)$", recipe)[1].split()
    assert {"ro", "rootfstype=squashfs", "systemd.getty_auto=no", "panic=10"} <= set(options)
    assert "editor no" in recipe  # nobody at a keyboard starts it with other words


def test_the_card_is_written_sparingly(tree: Path):
    journal = configparser.ConfigParser(strict=False)
    journal.optionxform = str
    journal.read(tree / "etc/systemd/journald.conf.d/keelwatt.conf")
    assert journal["Journal"]["Storage"] == "volatile"
    mounted = (tree / "etc/initramfs-tools/scripts/local-bottom/keelwatt").read_text()
    assert "noatime" in mounted
    assert not [x for x in (tree / "etc/fstab").read_text().split("\n") if x and x[0] != "#"]


def test_the_table_is_on_the_card_before_the_file_system_counts_on_it(tree: Path):
    unit = (tree / "etc/systemd/system/keelwatt-grow.service").read_text()
    steps = [line.split("=")[1].split()[0] for line in unit.split("\n") if "ExecStart" in line]
    assert steps == ["systemd-repart", "sync", "/usr/lib/systemd/systemd-growfs"]
    # Neither recorder nor pages wait for it.
    assert "Before=" not in unit


def test_early_scripts_can_be_run(tree: Path):
    for path in ("hooks/keelwatt", "scripts/local-bottom/keelwatt"):
        script = tree / "etc/initramfs-tools" / path
        assert os.access(script, os.X_OK)
        # initramfs-tools asks each script first what has to go before it.
        done = subprocess.run(["sh", script, "prereqs"], capture_output=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


@pytest.mark.parametrize(
    ("words", "said"), [((), "usage: "), (("OUT", "i386"), "only 64-bit boards are supported")]
)
def test_what_is_asked_wrongly_is_said(tmp_path: Path, repository: Path, words, said):
    given = [w.replace("OUT", str(tmp_path / "out")) for w in words]
    done = subprocess.run(
        ["sh", repository / "deploy/image.sh", *given], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert said in done.stderr
