"""axe-core looks at every page in every look, unfolded: no violation of whatever it knows."""

import os
from pathlib import Path

import pytest

from tests.support.browser import UNFOLD

pytestmark = pytest.mark.browser

PAGES = [
    "/",
    "/trips",
    "/season",
    "/trip/2",
    "/log",
    "/plan",
    "/health",
    "/gain",
    "/set-up",
    "/set-up/guide",
    "/set-up/first-test",
    "/api",
    "/pair",
]
LOOKS = ["day", "night", "contrast"]
_AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="session")
def axe():
    path = Path(os.environ.get("KEELWATT_AXE", _AXE))
    if not path.is_file():
        pytest.skip("axe-core is not here: npm ci --prefix tests/browser")
    return path.read_text("utf-8")


def violations(page, axe):
    page.evaluate(axe)  # not by a script element: the pages' own policy forbids those
    found = page.evaluate("axe.run({resultTypes: ['violations']})")["violations"]
    return [
        f"{v['id']} ({v['impact']}): {node['target']} {node['failureSummary']}"
        for v in found
        for node in v["nodes"]
    ]


@pytest.mark.parametrize("look", LOOKS)
def test_no_violation(phone, site, axe, look):
    phone.goto(f"{site}/look/{look}")
    for path in PAGES:
        phone.goto(site + path)
        if path in ("/log", "/trip/2"):
            phone.wait_for_selector(".chart[data-drawn]", timeout=30_000)
        phone.evaluate(UNFOLD)
        assert violations(phone, axe) == [], path
