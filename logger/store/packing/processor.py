"""Whether this processor can run pcodec, found without loading it: it would end the program.

Its x86-64 wheels are built for BMI1, BMI2 and AVX2 (.cargo/config.toml of
https://github.com/mwlon/pcodec). Under an emulated Nehalem, Westmere, Sandy Bridge and Ivy Bridge
(qemu-x86_64), which lack some, importing pcodec 1.1.0 ends in an illegal instruction; numpy 2.4,
zstandard 0.25 and pydantic run there.
"""

import importlib.util
import platform
from functools import cache
from pathlib import Path

WANTED = frozenset({"avx2", "bmi1", "bmi2"})
CPUINFO = Path("/proc/cpuinfo")


@cache
def runs_pcodec() -> bool:
    """Whether it does, and has it."""
    return importlib.util.find_spec("pcodec") is not None and can(platform.machine(), CPUINFO)


def can(machine: str, cpuinfo: Path) -> bool:
    """Whether a processor can run it.

    Args:
        machine: As `uname -m` says.
        cpuinfo: Linux's list of processors; where there is none, it is taken for one that can.
    """
    if machine not in ("x86_64", "AMD64"):
        return True
    try:
        lines = cpuinfo.read_text("utf-8", "replace").splitlines()
    except OSError:
        return True
    flags = [line.partition(":")[2].split() for line in lines if line.startswith("flags")]
    return all(set(one) >= WANTED for one in flags)
