"""Builds the package and lives with it; see run.sh. Exit status 1 where it is not as said."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import booted
import phone
import system
from system import System
from variants import key_of, variant

PROJECT = Path(__file__).parents[2]
LOG = "/var/lib/keelwatt/log.sqlite"
# What the owner would miss: every reading and boat file of the log, boat file, pairing. (Asking
# a question keeps results in the log beside them.)
READINGS = f"""
import hashlib, sqlite3
log, sums = sqlite3.connect("file:{LOG}?mode=ro", uri=True), hashlib.sha256()
for table in ("chunk", "tick", "boatfile"):
    for row in log.execute(f"SELECT * FROM {{table}} ORDER BY 1, 2"):
        sums.update(repr(row).encode())
print(sums.hexdigest(), log.execute("SELECT count(*) FROM chunk").fetchone())
"""
KEPT = f"""cd /var/lib/keelwatt && sha256sum boat.toml pairing.key &&
runuser -u keelwatt -- python3 -c '{READINGS}'"""
OPEN_PAGES = (
    "timeout -s INT 20 runuser -u keelwatt -- env XDG_DATA_HOME=/var/lib "
    "/opt/keelwatt/current/bin/keelwatt serve --host 127.0.0.1 "
    f"--boat /var/lib/keelwatt/boat.toml --log {LOG}"
)
failed: list[str] = []


def say(what: str, ok: bool, more: object = "") -> None:
    """One line of the report."""
    print(f"{'pass' if ok else 'FAIL'}  {what}  {more}", flush=True)
    if not ok:
        failed.append(what)


def built(work: Path) -> Path:
    """Built twice in two places, the same byte for byte."""
    processor = os.uname().machine
    packages = []
    places = {name: _copied(work / f"project-{name}") for name in ("one", "two")}
    for name, place in places.items():
        subprocess.run(
            ["sh", str(place / "deploy/package.sh"), str(work / name), processor],
            check=True,
            env={**os.environ, "TZ": "UTC" if name == "one" else "Asia/Tokyo",
                 "KEELWATT_SIGNING_KEY": str(key_of(work))},
        )  # fmt: skip
        packages.append(max((work / name).glob("keelwatt_*_*.deb"), key=os.path.getmtime))
    same = packages[0].read_bytes() == packages[1].read_bytes()
    say("two builds are equal", same, f"{packages[0].stat().st_size / 1e6:.1f} MB")
    return packages[0]


def _copied(place: Path) -> Path:
    """The project as it is now, elsewhere; its environment is shared."""
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    listed = ["git", "-C", str(PROJECT), "ls-files", "-z", "--cached", "--others"]
    names = subprocess.run([*listed, "--exclude-standard"], capture_output=True, check=True).stdout
    for name in names.decode().split("\0"):
        if (PROJECT / name).is_file():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(PROJECT / name, place / name)
    (place / ".venv").symlink_to(PROJECT / ".venv")
    return place


def installed(bare: System, package: Path) -> None:
    """A plain Debian, no network, one command."""
    start_s = time.monotonic()
    done = bare.install(package)
    say("installs without a network", done.returncode == 0, f"{time.monotonic() - start_s:.0f} s")
    if done.returncode:
        print(done.stdout[-2000:], done.stderr[-2000:])
        raise SystemExit(1)
    enabled = bare.run("systemctl", "is-enabled", "keelwatt-record", "keelwatt-serve").stdout
    say("recorder and pages start by themselves", enabled.split() == ["enabled"] * 2)
    sizes = bare.run("sh", "-c", "du -sm /opt/keelwatt /usr/lib/keelwatt | cut -f 1").stdout.split()
    count = bare.run("sh", "-c", "ls -d /opt/keelwatt/current/lib/*/*/*.dist-info | wc -l").stdout
    say("takes on the card", int(sizes[0]) <= 220, f"{sizes[0]} MB, {count.strip()} packages;"
        f" and {sizes[1]} MB of wheels")  # fmt: skip
    made = bare.run("keelwatt", "demo", "--log", LOG)
    say("the demo's outing is recorded", made.returncode == 0, made.stderr[-200:])
    bare.run("sh", "-c", OPEN_PAGES)
    answer = bare.run("keelwatt", "trips")
    say("it answers", answer.returncode == 0, answer.stdout.split("\n")[0])
    with_pages = bare.run("find", "/var/lib/keelwatt", "-name", "*pair*").stdout
    say("pairing was made", bool(with_pages), with_pages.split())


def upgraded(bare: System, package: Path) -> None:
    """To a later release; to a bad one; again to the same."""
    before, kept = bare.release, bare.run("sh", "-c", KEPT).stdout
    newer = variant(package, "9.1", {"replay/newer.txt": "newer"})
    done = bare.install(newer)
    say("a later release takes over", done.returncode == 0 and bare.release != before)
    say("log, boat file and pairing are kept", kept == bare.run("sh", "-c", KEPT).stdout != "")
    copies = bare.run("ls", "/var/lib/keelwatt/before-update").stdout.split()
    say("the log was copied first", len(copies) == 1, copies)
    now = bare.release
    again = bare.run("dpkg-reconfigure", "keelwatt")
    say("configuring again changes nothing", again.returncode == 0 and bare.release == now)
    for version, changes, listed, what in (
        ("9.2", {"logger/daemon/main.py": "raise SystemExit('no')"}, True, "does not start"),
        ("9.3", {"replay/newer.txt": "not as it was listed"}, False, "was changed on the way"),
    ):
        bad = variant(package, version, changes, listed=listed)
        done = bare.install(bad)
        works = bare.run("keelwatt", "trips").returncode == 0
        say(f"a release that {what} changes nothing",
            done.returncode != 0 and bare.release == now and works)  # fmt: skip
        bad.unlink()
    newer.unlink()
    newest = variant(package, "9.4", {"replay/newer.txt": "newest"})
    say("and a later good one goes in", bare.install(newest).returncode == 0)
    say("log, boat file and pairing are still kept", kept == bare.run("sh", "-c", KEPT).stdout)
    newest.unlink()


def removed(bare: System, package: Path) -> None:
    """Removing keeps; purging asks, keeps where nobody answers, and deletes when told."""
    kept = bare.run("sh", "-c", KEPT).stdout
    say("removing works", bare.apt("remove", "keelwatt").returncode == 0)
    say("and keeps log, boat file and pairing", kept == bare.run("sh", "-c", KEPT).stdout)
    left = bare.run("sh", "-c", "ls -d /opt/keelwatt/* /etc/systemd/system/*keelwatt* "
                    "/etc/systemd/system/*/keelwatt* /usr/lib/keelwatt").stdout  # fmt: skip
    say("and leaves no program behind", left == "", left.split())
    say("installing again finds them", bare.install(package).returncode == 0
        and kept == bare.run("sh", "-c", KEPT).stdout)  # fmt: skip
    say("purging with nobody there", bare.apt("purge", "keelwatt").returncode == 0)
    say("keeps the log", kept == bare.run("sh", "-c", KEPT).stdout)
    bare.install(package)
    # Whoever owns the folder may have laid links there.
    (bare.root / "etc/precious").write_text("the system's")
    bare.run("ln", "-s", "/etc", "/var/lib/keelwatt/link")
    wish = "keelwatt keelwatt/purge-log boolean true"
    bare.run("sh", "-c", f"echo '{wish}' | debconf-set-selections")
    say("purging, told to delete", bare.apt("purge", "keelwatt").returncode == 0)
    say("deletes the log", not (bare.root / "var/lib/keelwatt").exists())
    say("and nothing beyond", (bare.root / "etc/precious").exists())


def main(work: Path, suites: list[str]) -> int:
    """0 where all is as it should be."""
    work.mkdir(parents=True, exist_ok=True)
    package = built(work)
    steps: tuple[Callable[[System, Path], None], ...] = (installed, upgraded, removed)
    for suite in suites:
        print(f"-- {suite}", flush=True)
        bare = system.make(work, suite)
        for step in steps:
            step(bare, package)
        booted.live(system.make(work, suite), package, say)
        phone.live(system.make(work, suite), package, say)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2:]))
