"""Runs a program under a unit's system call filter and memory rule, without systemd:
confined.py UNIT PROGRAM-ARGUMENTS... (arguments of python).

What cannot be imitated here: the file system's, devices' and network's restrictions.
"""

import ctypes
import errno
import os
import subprocess
import sys
from pathlib import Path

PR_SET_NO_NEW_PRIVS, PR_SET_MDWE = 38, 65  # linux/prctl.h
SCMP_ACT_ALLOW, SCMP_ACT_ERRNO = 0x7FFF0000, 0x00050000  # seccomp.h


def settings(unit: Path, key: str) -> list[str]:
    """Values of a key, in the unit's order."""
    lines = unit.read_text().splitlines()
    return [line.partition("=")[2] for line in lines if line.startswith(f"{key}=")]


def calls_of(name: str) -> set[str]:
    """System calls of a name: themselves, or those of a set as systemd knows it."""
    if not name.startswith("@"):
        return {name}
    done = subprocess.run(
        ["systemd-analyze", "syscall-filter", name], capture_output=True, text=True, check=True
    )
    found: set[str] = set()
    for line in done.stdout.splitlines()[1:]:
        word = line.strip()
        if word and not word.startswith("#"):
            found |= calls_of(word)
    return found


def allowed(unit: Path) -> set[str]:
    """System calls that the unit leaves: systemd.exec(5), SystemCallFilter."""
    calls = calls_of("@default")
    for line in settings(unit, "SystemCallFilter"):
        taken = line.startswith("~")
        for name in line.lstrip("~").split():
            calls = calls - calls_of(name) if taken else calls | calls_of(name)
    return calls


def filter_calls(names: set[str]) -> None:
    """Every other system call fails with EPERM from now on."""
    seccomp = ctypes.CDLL("libseccomp.so.2")
    seccomp.seccomp_init.restype = ctypes.c_void_p
    context = ctypes.c_void_p(seccomp.seccomp_init(ctypes.c_uint32(SCMP_ACT_ERRNO | errno.EPERM)))
    for name in names:
        number = seccomp.seccomp_syscall_resolve_name(name.encode())
        if number >= 0:
            seccomp.seccomp_rule_add(context, ctypes.c_uint32(SCMP_ACT_ALLOW), number, 0)
    if seccomp.seccomp_load(context) != 0:
        sys.exit("the filter could not be loaded")


def main() -> None:
    """Confines itself and becomes the program."""
    unit, arguments = Path(sys.argv[1]), sys.argv[2:]
    names = allowed(unit)
    libc = ctypes.CDLL(None)
    libc.prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
    filter_calls(names)
    if settings(unit, "MemoryDenyWriteExecute") == ["yes"]:
        libc.prctl(PR_SET_MDWE, 1, 0, 0, 0)
    os.execv(sys.executable, [sys.executable, *arguments])


if __name__ == "__main__":
    main()
