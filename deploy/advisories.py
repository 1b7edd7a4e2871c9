"""Known weaknesses of a release, without a connection: advisories.py BILL ADVISORIES

BILL is a release's bom.cdx.json (see bill.py), ADVISORIES a folder or a .zip of advisories, a JSON
file each, in the Open Source Vulnerability format, as the registry's own advisory database gives
them to take home. Prints a line for each weakness that a part of the release has; status 1 then.
Source of the rule for versions: OSV schema 1.6, "affected[].versions" and "ranges" of type
ECOSYSTEM, https://ossf.github.io/osv-schema/; names as in PEP 503, versions as in PEP 440.
"""

import json
import re
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from packaging.version import InvalidVersion, Version

ECOSYSTEM = "PyPI"
MOST_BYTES = 1 << 22  # of one advisory; the longest lists of versions take a tenth; assumed


class NoAdvisories(Exception):  # noqa: N818 - reads as the sentence it makes
    """What was named holds none that can be read."""


def parts_of(bill: Path) -> dict[str, str]:
    """Versions by name of what a bill lists."""
    told = json.loads(bill.read_text("utf-8"))
    parts = [told.get("metadata", {}).get("component"), *told["components"]]
    return {part["name"]: part["version"] for part in parts if part}


def advisories(place: Path) -> Iterator[dict[str, Any]]:
    """Each advisory of a folder or a .zip. Raises NoAdvisories."""
    count = 0
    for name, text in _texts(place):
        try:
            found = json.loads(text)
            found["id"], found["affected"]
        except (ValueError, KeyError, TypeError) as error:
            raise NoAdvisories(f"{place}: {name} is no advisory: {error}") from error
        count += 1
        yield found
    if not count:
        raise NoAdvisories(f"{place}: wants a folder or a .zip of advisories, holds none")


def _texts(place: Path) -> Iterator[tuple[str, bytes]]:
    if place.is_dir():
        for path in sorted(place.rglob("*.json")):
            yield path.name, path.read_bytes()
        return
    with zipfile.ZipFile(place) as packed:
        for info in packed.infolist():
            if info.filename.endswith(".json"):
                with packed.open(info) as one:
                    yield info.filename, one.read(MOST_BYTES)


def affects(advisory: dict[str, Any], name: str, version: str) -> bool:
    """Whether a version of a package has a weakness."""
    if advisory.get("withdrawn"):
        return False
    for affected in advisory["affected"]:
        package = affected.get("package", {})
        if package.get("ecosystem") != ECOSYSTEM or _plain(package.get("name", "")) != name:
            continue
        ranges = [r for r in affected.get("ranges", []) if r["type"] == "ECOSYSTEM"]
        if version in affected.get("versions", []) or any(_within(r, version) for r in ranges):
            return True
    return False


def _within(span: dict[str, Any], version: str) -> bool:
    """The events of a range in the order of their versions: the last before this one counts."""
    at = Version(version)
    inside = False
    for event in sorted(span["events"], key=lambda e: _version(next(iter(e.values())))):
        (kind, told), *_ = event.items()
        if kind == "introduced" and at >= _version(told):
            inside = True
        elif (kind == "fixed" and at >= _version(told)) or (
            kind == "last_affected" and at > _version(told)
        ):
            inside = False
    return inside


def _version(text: str) -> Version:
    try:
        return Version(text)
    except InvalidVersion:
        return Version("0")  # "0" is the beginning; what is no version is taken for it, to be told


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def found_in(bill: Path, place: Path) -> list[str]:
    """A line for each weakness of each part. Raises NoAdvisories, OSError, ValueError."""
    parts = parts_of(bill)
    lines = []
    for advisory in advisories(place):
        names = {_plain(a.get("package", {}).get("name", "")) for a in advisory["affected"]}
        for name in sorted(names & set(parts)):
            if affects(advisory, name, parts[name]):
                summary = " ".join(str(advisory.get("summary", "")).split())[:120]
                lines.append(f"{name} {parts[name]}: {advisory['id']} {summary}".rstrip())
    return lines


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("keelwatt: usage: advisories.py BILL ADVISORIES")
    try:
        lines = found_in(Path(sys.argv[1]), Path(sys.argv[2]))
    except (NoAdvisories, OSError, ValueError, KeyError, zipfile.BadZipFile) as error:
        print(f"keelwatt: the advisories cannot be looked through: {error}", file=sys.stderr)
        sys.exit(2)
    print("\n".join(lines) or "No part of the release is in them.")
    sys.exit(1 if lines else 0)
