"""What the project says of itself in several places is the same in each."""

import re
import tomllib
from pathlib import Path


def project(repository: Path) -> dict:
    return tomllib.loads((repository / "pyproject.toml").read_text())["project"]


def test_one_version_and_licence(repository):
    said = (repository / ".github/CITATION.cff").read_text()
    own = project(repository)
    assert re.search(r"^version: (.*)$", said, re.M)[1] == own["version"]
    assert re.search(r"^license: (.*)$", said, re.M)[1] == own["license"]


def test_the_newest_changes_are_this_version_s(repository):
    changes = (repository / "DEVELOPERS.md").read_text().partition("## Changes")[2]
    assert re.search(r"^### (\S+)", changes, re.M)[1] == project(repository)["version"]


def test_every_python_that_is_promised_is_tried(repository):
    tried = re.findall(r'"(3\.\d+)"', (repository / ".github/workflows/test.yml").read_text())
    named = [text.rpartition(" ")[2] for text in project(repository)["classifiers"]]
    assert tried == [version for version in named if re.fullmatch(r"3\.\d+", version)]


def test_links_of_the_papers_lead_somewhere(repository):
    papers = [*repository.glob("*.md"), *repository.glob(".github/*.md")]
    for paper in papers:
        for link in re.findall(r"\]\(([^)#:]+)[^):]*\)", paper.read_text()):
            assert (paper.parent / link).exists(), f"{paper.name}: {link}"
