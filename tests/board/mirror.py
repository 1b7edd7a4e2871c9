"""Where the machine has its Debian from."""

import re
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Mirror:
    """Where the machine has its Debian from. lines: for a sources.list."""

    uri: str
    codename: str
    lines: tuple[str, ...]


def find_mirror(etc: Path = Path("/etc")) -> Mirror:
    """Reads the machine's apt configuration. Raises SystemExit where it has no Debian mirror."""
    codename = _value(etc / "os-release", "VERSION_CODENAME")
    found: list[tuple[str, list[str]]] = []  # uri, suites
    for file in sorted((etc / "apt/sources.list.d").glob("*.sources")):
        for part in re.split(r"\n\s*\n", file.read_text()):
            keys = dict(re.findall(r"(?m)^([A-Za-z-]+):[ \t]*(.+)$", part))
            if "main" in keys.get("Components", "").split():
                found += [(uri, keys["Suites"].split()) for uri in keys["URIs"].split()]
    for file in [etc / "apt/sources.list", *sorted((etc / "apt/sources.list.d").glob("*.list"))]:
        text = file.read_text() if file.exists() else ""
        for uri, suite in re.findall(r"(?m)^deb\s+(?:\[.*?\]\s+)?(\S+)\s+(\S+)\s.*\bmain\b", text):
            found.append((uri, [suite]))
    of_debian = [(u, [s for s in suites if s.startswith(codename)]) for u, suites in found]
    lines = tuple(f"deb {u} {s} main" for u, suites in of_debian for s in suites)
    bases = [u for u, suites in of_debian if codename in suites]
    # A machine may have other people's packages under the same suite's name: Debian's has updates.
    bases.sort(key=lambda u: not any(u == v and f"{codename}-updates" in s for v, s in of_debian))
    if not bases:
        raise SystemExit(f"no Debian mirror for {codename or 'this system'} in {etc}/apt")
    known = tuple(line for line in lines if line.split()[1].startswith(bases[0].rstrip("/")))
    return Mirror(bases[0], codename, known)


def _value(path: Path, key: str) -> str:
    found = re.search(rf"(?m)^{key}=\"?([^\"\n]*)", path.read_text() if path.exists() else "")
    return found[1] if found else ""
