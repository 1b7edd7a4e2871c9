"""The two first commands: clear failures, and nothing done twice.

Python, pip and Debian's tools are stand-ins here; `sh deploy/test.sh` itself is the test of the
real ones.
"""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

TOOLS = ["sh", "dirname", "cksum", "cat", "tail", "id", "mkdir", "chmod", "env"]
GOOD_PYTHON = """#!/bin/sh
echo "python $*" >>"$CALLS"
case "$*" in
*"-m venv"*)
    for last; do :; done
    mkdir -p "$last/bin"
    cat "$0" >"$last/bin/python"
    printf '#!/bin/sh\\necho "keelwatt $*"\\n' >"$last/bin/keelwatt"
    chmod +x "$last/bin/python" "$last/bin/keelwatt" ;;
*print*) echo 3.11 ;;
*-V*) echo Python 3.11.7 ;;
esac
"""
OLD_PYTHON = "#!/bin/sh\nexit 1\n"
NO_VENV = """#!/bin/sh
case "$*" in *ensurepip*) exit 1 ;; *print*) echo 3.11 ;; esac
"""
NO_PIP = GOOD_PYTHON + 'case "$*" in *"pip install"*) echo "no route to host"; exit 1 ;; esac\n'


@pytest.fixture
def project(tmp_path: Path, repository: Path) -> Path:
    """A copy of the project's scripts, with a folder `bin` as the whole search path."""
    shutil.copytree(repository / "deploy", tmp_path / "deploy")
    shutil.copy(repository / "pyproject.toml", tmp_path)
    (tmp_path / "bin").mkdir()
    for tool in TOOLS:
        (tmp_path / "bin" / tool).symlink_to(shutil.which(tool) or tool)
    return tmp_path


def put(project: Path, name: str, text: str) -> None:
    path = project / "bin" / name
    path.write_text(text)
    path.chmod(0o755)


def run(project: Path, script: str, *options: str) -> subprocess.CompletedProcess[str]:
    env = {"PATH": str(project / "bin"), "CALLS": str(project / "calls"), "HOME": str(project)}
    command = ["sh", str(project / "deploy" / script), *options]
    return subprocess.run(command, env=env, capture_output=True, text=True, timeout=60, check=False)


def calls(project: Path, words: str) -> int:
    path = project / "calls"
    return path.read_text().count(words) if path.exists() else 0


@pytest.mark.parametrize("script", ["try.sh", "test.sh"])
@pytest.mark.parametrize(
    ("python", "words"),
    [
        (OLD_PYTHON, "wants Python 3.11 or newer"),
        (NO_VENV, "apt install python3.11-venv"),
        (NO_PIP, "pip could not install"),
    ],
)
def test_a_machine_that_lacks_something_is_told_in_a_sentence(
    project: Path, script: str, python: str, words: str
):
    put(project, "python3", python)
    done = run(project, script)
    assert done.returncode == 1
    last = done.stderr.strip().split("\n")[-1]
    assert last.startswith("keelwatt: ")
    assert words in last


def test_try_installs_once_and_hands_its_options_on(project: Path):
    put(project, "python3", GOOD_PYTHON)
    first = run(project, "try.sh", "--serve")
    again = run(project, "try.sh")
    assert (first.returncode, first.stdout) == (0, "keelwatt demo --serve\n"), first.stderr
    assert (again.returncode, again.stdout) == (0, "keelwatt demo\n")
    assert "installing" in first.stderr
    assert "installing" not in again.stderr
    assert calls(project, "pip install") == 1
    assert calls(project, "-m venv") == 1


def test_try_installs_again_when_the_project_asks_for_something_new(project: Path):
    put(project, "python3", GOOD_PYTHON)
    run(project, "try.sh")
    with (project / "pyproject.toml").open("a") as f:
        f.write("# something new\n")
    run(project, "try.sh")
    assert calls(project, "pip install") == 2


def test_an_environment_that_was_cut_off_is_finished(project: Path):
    put(project, "python3", NO_PIP)
    assert run(project, "try.sh").returncode == 1
    put(project, "python3", GOOD_PYTHON)
    shutil.copy(project / "bin/python3", project / ".venv/bin/python")
    assert run(project, "try.sh").stdout == "keelwatt demo\n"


def test_test_names_the_debian_package_that_it_cannot_install(project: Path):
    put(project, "python3", GOOD_PYTHON)
    done = run(project, "test.sh")
    assert done.returncode == 1
    assert "chromium systemd" in done.stderr
    assert "by hand" in done.stderr


def test_test_stops_with_the_exit_status_of_what_failed(project: Path):
    put(project, "python3", GOOD_PYTHON)
    for tool in ("chromium", "systemd-analyze", "initdb", "ruff", "mypy"):
        put(project, tool, f'#!/bin/sh\necho "{tool} $*" >>"$CALLS"\n')
    assert run(project, "test.sh").returncode == 0
    assert calls(project, "-m pytest -n 3") == 1
    put(project, "mypy", "#!/bin/sh\nexit 3\n")
    assert run(project, "test.sh").returncode == 3
    assert calls(project, "-m pytest -n 3") == 1


def test_scripts_are_posix_shell(repository: Path):
    scripts = sorted((repository / "deploy").rglob("*.sh"))
    assert scripts
    for script in scripts:
        subprocess.run(["sh", "-n", str(script)], check=True)
        sourced = script.name in ("environment.sh", "board.sh", "platform.sh")
        assert os.access(script, os.X_OK) or sourced
    for name in ("postinst", "prerm", "postrm"):
        subprocess.run(["sh", "-n", str(repository / "deploy/debian" / name)], check=True)
