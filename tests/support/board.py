"""A make-believe boat computer: another root, stand-ins for systemd's and Debian's tools, and
small wheels that a stand-in for pip unpacks (one test uses the real one: it takes its time)."""

import hashlib
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

STANDINS = ("systemctl", "udevadm", "networkctl", "useradd", "chown", "sync")
# A stand-in or a writer with this at its head ends the script, as a power cut would, before its
# N-th call or after it; N is in the file `cut`, with "before" or "after" beside it.
CUT = """cut() {
    [ -e "$STATE/cut" ] || return 0
    read -r number when <"$STATE/cut"
    [ "$when" = "$1" ] || return 0
    number=$((number - 1))
    printf '%s %s\\n' "$number" "$when" >"$STATE/cut"
    [ "$number" -gt 0 ] || { /bin/rm "$STATE/cut"; kill -9 0; }
}
cut before
trap 'cut after' EXIT
"""
# Programs that write: each says so where it touches what lies in the data folder as root.
WRITERS = ("mv", "cp", "mkdir", "rm", "tee", "ln")
WRITER = """#!/bin/sh
{cut}for word; do
    case "$word" in
    "$KEELWATT_ROOT"/var/lib/keelwatt/* | "$KEELWATT_ROOT"/run/keelwatt-stick/mounted/*/*)
        [ -n "$OWNER" ] || echo "{name} $*" >>"$STATE/as-root" ;;
    esac
done
{program} "$@"
"""
RUNUSER = """#!/bin/sh
shift 3
OWNER=yes exec "$@"
"""
SYSTEMCTL = f"""#!/bin/sh
{CUT}echo "systemctl $*" >>"$CALLS"
case "$1" in
is-enabled | is-active) [ ! -e "$STATE/$1-not" ] && [ ! -e "$STATE/$1-not-$3" ] ;;
show) cat "$STATE/restarts" 2>/dev/null || true ;;
start) [ ! -e "$STATE/start-fails" ] ;;
restart) [ ! -e "$STATE/falls" ] || touch "$STATE/is-active-not" ;;
esac
"""

# Makes an environment and installs a wheel's program, as venv and pip do, but at once.
PYTHON = """#!/bin/sh
{cut}case "$*" in
*"-m venv"*)
    mkdir -p "$3/bin"
    cp "$0" "$3/bin/python" ;;
*"-m pip"*)
    set -- "$PWD"/keelwatt-*.whl
    bin=$(dirname "$0")
    {python} -m zipfile -e "$1" "$bin/../lib"
    program='import sys; sys.path[:0] = ["%s"]; import kw_stub; kw_stub.main()'
    printf "#!{python}\\n$program\\n" "$bin/../lib" >"$bin/keelwatt"
    chmod +x "$bin/keelwatt" ;;
*"-I -c"*)
    shift
    exec env PYTHONSAFEPATH=1 PYTHONPATH="$(dirname "$0")/../lib" {python} "$@" ;;
*) exec {python} "$@" ;;
esac
"""


def make_wheel(folder: Path, version: str, program: str, store: str) -> None:
    """A wheel named keelwatt whose command runs `program`, and which reads logs by `store`."""
    folder.mkdir(parents=True, exist_ok=True)
    info = f"keelwatt-{version}.dist-info"
    files = {
        "kw_stub.py": program,
        "logger/store/__init__.py": store,
        "logger/store/packing/codec.py": "def works(): pass\n",
        **dict.fromkeys(
            (
                "logger/daemon/main.py",
                "analyzer/answers/__init__.py",
                "analyzer/faces/web/app.py",
            ),
            "",
        ),
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: keelwatt\nVersion: {version}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: t\nRoot-Is-Purelib: true\n"
        "Tag: py3-none-any\n",
        f"{info}/entry_points.txt": "[console_scripts]\nkeelwatt = kw_stub:main\n",
    }
    record = "".join(f"{name},,\n" for name in [*files, f"{info}/RECORD"])
    with zipfile.ZipFile(folder / f"keelwatt-{version}-py3-none-any.whl", "w") as wheel:
        for name, text in {**files, f"{info}/RECORD": record}.items():
            wheel.writestr(name, text)
    (folder / "pip-1.0-py3-none-any.whl").write_bytes(b"the stand-in installs without it")
    list_wheels(folder)


def list_wheels(folder: Path) -> None:
    """Writes the list of check sums, as deploy/wheelhouse.sh does."""
    sums = (
        f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {p.name}\n" for p in folder.glob("*.whl")
    )
    (folder / "SHA256SUMS").write_text("".join(sums))


GOOD = "def main():\n    import sys\n    print('{v}', *sys.argv[1:])\n"
READS = """class Store:
    def open(path):
        open(path).close()
        return Store()

    def close(self):
        pass
"""
BROKEN = "def main():\n    raise SystemExit('does not start')\n"


@dataclass
class Board:
    """One such computer."""

    root: Path
    repository: Path

    def __post_init__(self) -> None:
        """Lays out its folders and tools."""
        (self.root / "bin").mkdir()
        (self.root / "state").mkdir()
        for name in STANDINS:
            tool = self.root / "bin" / name
            text = (
                SYSTEMCTL
                if name == "systemctl"
                else f'#!/bin/sh\n{CUT}echo "{name} $*" >>"$CALLS"\n'
            )
            tool.write_text(text)
            tool.chmod(0o755)
        tools = {
            name: WRITER.format(name=name, program=shutil.which(name), cut=CUT) for name in WRITERS
        }
        for name, text in {**tools, "runuser": RUNUSER}.items():
            (self.root / "bin" / name).write_text(text)
            (self.root / "bin" / name).chmod(0o755)
        self.python = self.root / "bin/quick-python"
        self.python.write_text(PYTHON.replace("{python}", sys.executable).replace("{cut}", CUT))
        self.python.chmod(0o755)

    def run(
        self, script: str, *options: str, folder: Path | None = None
    ) -> subprocess.CompletedProcess[str]:
        """Runs one of deploy's scripts here; folder: where another release has them."""
        env = {
            "PATH": f"{self.root}/bin:/usr/sbin:/usr/bin:/sbin:/bin",
            "KEELWATT_ROOT": str(self.root),
            "KEELWATT_PYTHON": str(self.python),
            "KEELWATT_SETTLE_S": "0",
            "CALLS": str(self.root / "calls"),
            "STATE": str(self.root / "state"),
        }
        command = ["sh", str((folder or self.repository / "deploy") / script), *options]
        # A session of its own: what stands for a power cut kills all of it.
        return subprocess.run(
            command, env=env, capture_output=True, text=True, timeout=120, check=False,
            start_new_session=True,
        )  # fmt: skip

    def cut_at(self, number: int, when: str) -> None:
        """The next script ends before or after its so-manieth step."""
        (self.root / "state/cut").write_text(f"{number} {when}\n")

    def power_on(self) -> None:
        """What systemd starts of its own accord, by the conditions of keelwatt-resume.service."""
        (self.root / "state/cut").unlink(missing_ok=True)
        shutil.rmtree(self.root / "run", ignore_errors=True)
        home = self.root / "opt/keelwatt"
        script = home / "current/share/new-release.sh"
        if ((home / "changing").exists() or (home / "incoming").exists()) and script.exists():
            self.run("new-release.sh", "resume", folder=script.parent)

    def change(self, act: str) -> subprocess.CompletedProcess[str]:
        """What keelwatt-update@.service does, by the scripts of the release in use."""
        return self.run("new-release.sh", act, folder=self.root / "opt/keelwatt/current/share")

    @property
    def said(self) -> str:
        """What the pages are told of it."""
        return (self.root / "run/keelwatt-update/said").read_text().strip()

    def wheels(self, version: str, program: str = GOOD, store: str = "") -> str:
        """A folder of wheels with this version of the program; by itself it can read no log."""
        folder = self.root / f"wheels-{version}"
        make_wheel(folder, version, program.replace("{v}", version), store)
        return str(folder)

    def set_state(self, name: str, on: bool = True) -> None:
        """What the stand-in for systemctl answers."""
        path = self.root / "state" / name
        path.touch() if on else path.unlink(missing_ok=True)

    def calls(self) -> str:
        """What was asked of the stand-ins."""
        path = self.root / "calls"
        return path.read_text() if path.exists() else ""

    def version(self) -> str:
        """What the program in use says it is."""
        done = subprocess.run(
            [str(self.root / "opt/keelwatt/current/bin/keelwatt")],
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout.strip()

    @property
    def log(self) -> Path:
        """The boat's log."""
        return self.root / "var/lib/keelwatt/log.sqlite"


def write_log(path: Path, word: str) -> None:
    """A log as far as its copies go: a table with one more word."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE IF NOT EXISTS t (word)")
        db.execute("INSERT INTO t VALUES (?)", [word])
        db.commit()


def words_of(path: Path) -> list[str]:
    """The words that `write_log` has written."""
    with closing(sqlite3.connect(path)) as db:
        return [w for (w,) in db.execute("SELECT word FROM t")]
