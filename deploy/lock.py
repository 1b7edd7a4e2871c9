"""Reads what keelwatt wants, or what pip chose for it, and writes it as pip's requirements.

    lock.py --wanted PYPROJECT    what a board wants: the project's dependencies, without extras
    lock.py REPORT                pip's report of a dry run, each wheel with its SHA-256

Source: pip's installation report, version 1, https://pip.pypa.io/en/stable/reference/installation-report/.
"""

import json
import sys
import tomllib
from pathlib import Path
from typing import Any

# Installs the others on the board, which then needs nothing of Debian's but Python; not kept there.
INSTALLER = "pip"


def wanted(pyproject: Path) -> list[str]:
    """The project's own requirements, and the installer."""
    return [*tomllib.loads(pyproject.read_text())["project"]["dependencies"], INSTALLER]


def locked(report: dict[str, Any]) -> list[str]:
    """A line for each wheel that pip chose: name, version, check sum.

    Raises:
        KeyError: The report is not of this form.
    """
    return sorted(_line(chosen) for chosen in report["install"])


def _line(chosen: dict[str, Any]) -> str:
    told, sums = chosen["metadata"], chosen["download_info"]["archive_info"]["hashes"]
    name = str(told["name"]).lower().replace("_", "-").replace(".", "-")
    return f"{name}=={told['version']} --hash=sha256:{sums['sha256']}"


def main(words: list[str]) -> None:
    """Prints the lines."""
    if len(words) == 2 and words[0] == "--wanted":
        print("\n".join(wanted(Path(words[1]))))
    elif len(words) == 1:
        print("\n".join(locked(json.loads(Path(words[0]).read_text()))))
    else:
        sys.exit("keelwatt: usage: lock.py --wanted PYPROJECT | lock.py REPORT")


if __name__ == "__main__":
    main(sys.argv[1:])
