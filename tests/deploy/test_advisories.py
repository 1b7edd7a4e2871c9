"""Known weaknesses of a release, from files: the OSV schema's own rule for versions, by hand."""

import json
import subprocess
import sys
import zipfile

import pytest

# Events as in the OSV schema's text: introduced and fixed are half open, last_affected is not.
RANGES = {
    "OSV-1": [{"introduced": "0"}, {"fixed": "1.5"}],
    "OSV-2": [{"introduced": "2.0"}, {"last_affected": "2.3"}],
    "OSV-3": [{"introduced": "1.0"}, {"fixed": "1.2"}, {"introduced": "2.0"}, {"fixed": "2.10"}],
}


def advisory(number, events, name="some.package", **more):
    package = {"ecosystem": "PyPI", "name": name}
    return {
        "id": number,
        "summary": "Says\nmore than it should",
        "affected": [{"package": package, "ranges": [{"type": "ECOSYSTEM", "events": events}]}],
        **more,
    }


@pytest.fixture
def look(repository, tmp_path):
    """Gives status and output for a version and advisories."""

    def looked(version, *advisories, packed=False):
        bill = {"components": [{"name": "some-package", "version": version}]}
        (tmp_path / "bom.cdx.json").write_text(json.dumps(bill))
        place = tmp_path / ("all.zip" if packed else "all")
        texts = {f"{number}.json": json.dumps(one) for number, one in enumerate(advisories)}
        if packed:
            with zipfile.ZipFile(place, "w") as out:
                for name, text in texts.items():
                    out.writestr(name, text)
        else:
            place.mkdir(exist_ok=True)
            for name, text in texts.items():
                (place / name).write_text(text)
        asked = [sys.executable, str(repository / "deploy/advisories.py")]
        asked += [str(tmp_path / "bom.cdx.json"), str(place)]
        done = subprocess.run(asked, capture_output=True, text=True, check=False, timeout=60)
        return done.returncode, done.stdout, done.stderr

    return looked


@pytest.mark.parametrize(
    ("version", "ids"),
    [
        ("0.1", {"OSV-1"}),
        ("1.1.9", {"OSV-1", "OSV-3"}),
        ("1.2", {"OSV-1"}),
        ("1.5", set()),
        ("1.5rc1", {"OSV-1"}),  # before 1.5: PEP 440
        ("2.3", {"OSV-2", "OSV-3"}),
        ("2.9", {"OSV-3"}),  # 2.9 is before 2.10
        ("2.10", set()),
    ],
)
def test_ranges_count_as_the_schema_says(look, version, ids):
    status, out, _ = look(version, *(advisory(number, e) for number, e in RANGES.items()))
    assert {line.split()[2] for line in out.splitlines() if "OSV" in line} == ids
    assert status == (1 if ids else 0)


def test_listed_versions_others_names_and_what_was_withdrawn(look):
    listed = advisory("OSV-4", [])
    listed["affected"][0]["versions"] = ["3.0"]
    other = advisory("OSV-5", [{"introduced": "0"}], "another")
    gone = advisory("OSV-6", [{"introduced": "0"}], withdrawn="2026-01-01T00:00:00Z")
    _, out, _ = look("3.0", listed, other, gone, packed=True)
    assert out == "some-package 3.0: OSV-4 Says more than it should\n"


def test_what_holds_none_is_a_sentence(look):
    status, out, said = look("1.0")
    assert (status, out) == (2, "")
    assert "wants a folder or a .zip of advisories" in said
    assert said.count("\n") == 1
    status, _, said = look("1.0", {"no": "advisory"})
    assert status == 2
    assert "is no advisory" in said
