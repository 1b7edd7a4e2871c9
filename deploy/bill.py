"""Writes what a release is made of, as CycloneDX 1.5 JSON: bill.py FOLDER

FOLDER holds wheels. The bill, `bom.cdx.json` beside them, names each with its version, licence,
check sum and what it wants. The same wheels give the same bytes: no date, no chance.
Source: CycloneDX 1.5 JSON reference, https://cyclonedx.org/docs/1.5/json/; package URLs,
https://github.com/package-url/purl-spec; names as in PEP 503, wheels' METADATA as in PEP 566.
"""

import hashlib
import json
import re
import sys
import uuid
import zipfile
from email.message import Message
from email.parser import BytesHeaderParser
from pathlib import Path
from typing import Any

OWN = "keelwatt"
NAME = "bom.cdx.json"
_WANTED = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


def bill(folder: Path) -> dict[str, Any]:
    """The bill of the wheels in a folder.

    Raises:
        OSError, KeyError, zipfile.BadZipFile: A file there is no wheel.
    """
    wheels = {path: _metadata(path) for path in sorted(folder.glob("*.whl"))}
    refs = {_plain(told["Name"]): _purl(told) for told in wheels.values()}
    parts = [_component(path, told) for path, told in wheels.items()]
    own = [part for part in parts if part["name"] == OWN]
    sums = "".join(part["hashes"][0]["content"] for part in parts)
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, sums)}",
        "version": 1,
        "metadata": {"component": {**own[0], "type": "application"}} if own else {},
        "components": [part for part in parts if part["name"] != OWN],
        "dependencies": [
            {"ref": _purl(told), "dependsOn": _wants(told, refs)} for told in wheels.values()
        ],
    }


def _metadata(path: Path) -> Message:
    with zipfile.ZipFile(path) as wheel:
        name = next(n for n in wheel.namelist() if n.endswith(".dist-info/METADATA"))
        return BytesHeaderParser().parsebytes(wheel.read(name))


def _component(path: Path, told: Message) -> dict[str, Any]:
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    part: dict[str, Any] = {
        "type": "library",
        "bom-ref": _purl(told),
        "name": _plain(told["Name"]),
        "version": told["Version"],
        "purl": _purl(told),
        "hashes": [{"alg": "SHA-256", "content": digest}],
    }
    if told["License-Expression"]:
        part["licenses"] = [{"expression": told["License-Expression"]}]
    elif told["License"]:
        part["licenses"] = [{"license": {"name": told["License"].splitlines()[0][:100]}}]
    return part


def _wants(told: Message, refs: dict[str, str]) -> list[str]:
    """References of the wheels of the folder that this one wants."""
    found = (_WANTED.match(line) for line in told.get_all("Requires-Dist", []))
    names = {_plain(match[0]) for match in found if match}
    return sorted(refs[name] for name in names if name in refs)


def _purl(told: Message) -> str:
    return f"pkg:pypi/{_plain(told['Name'])}@{told['Version']}"


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("keelwatt: usage: bill.py FOLDER")
    try:
        text = json.dumps(bill(Path(sys.argv[1])), indent=1, ensure_ascii=False)
        (Path(sys.argv[1]) / NAME).write_text(f"{text}\n", "utf-8")
    except (OSError, StopIteration, zipfile.BadZipFile) as error:
        sys.exit(f"keelwatt: no bill of the wheels in {sys.argv[1]} could be made: {error}")
