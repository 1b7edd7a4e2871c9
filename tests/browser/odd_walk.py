"""Walks odd logs page by page on a phone: python tests/browser/odd_walk.py [NAME ...]

Of each page: how soon it stands, how many screens it is long, and whether anything is amiss: a
status that is no answer, an error on the console, a page wider than the phone, "None" or "nan", a
date of 1970. Pictures go to tests/browser/pictures/odd/, which is not kept in the repository.
"""

import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from analyzer.answers import Log  # noqa: E402
from analyzer.faces.web.app import create_app  # noqa: E402
from tests.support.browser import SWITCHES, Served, chromium_path  # noqa: E402
from tests.support.odd_logs import LONG, QUICK, odd_log  # noqa: E402

OUT = Path(__file__).parent / "pictures" / "odd"
WIDE, HIGH = 390, 844
PAGES = ("/", "/trips", "/season", "/trip/1", "/log", "/plan", "/health", "/gain",
         "/set-up", "/set-up/first-test")  # fmt: skip


def amiss(page, complaints: list[str]) -> list[str]:
    """What is wrong with a page that stands."""
    text = page.locator("main").inner_text()
    found = [f"says {word}" for word in ("None", "nan", "1970", "Traceback") if word in text]
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        found.append("wider than the phone")
    return found + complaints


def walk(browser: Browser, log: Log, name: str) -> list[str]:
    """Every page of one log; what is amiss, with the page's name."""
    trips = len(log.trips())
    wrong = []
    with Served(create_app(log)) as served:
        for path in PAGES:
            if path.startswith("/trip/") and not trips:
                continue
            context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
            page = context.new_page()
            complaints: list[str] = []
            page.on("pageerror", lambda error, into=complaints: into.append(str(error)))
            began = time.monotonic()
            answer = page.goto(served.url + path, timeout=120_000)
            if page.locator(".chart:visible").count():
                page.wait_for_selector(".chart[data-drawn]", timeout=120_000)
            took_s = time.monotonic() - began
            found = amiss(page, complaints)
            if answer is None or answer.status != 200:
                found.append(f"status {answer.status if answer else 'none'}")
            screens = page.evaluate("document.documentElement.scrollHeight") / HIGH
            page.screenshot(path=OUT / f"{name}{path.replace('/', '_')}.png".replace(" ", "_"))
            context.close()
            said = "; ".join(found) or "nothing amiss"
            print(f"{name:12} {path:20} {took_s:5.1f} s {screens:5.1f} screens  {said}", flush=True)
            wrong += [f"{name} {path}: {text}" for text in found]
    return wrong


def main() -> int:
    """All of them; 1 where anything is amiss."""
    OUT.mkdir(parents=True, exist_ok=True)
    wrong = []
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
        for name in sys.argv[1:] or (*QUICK, *LONG):
            log = odd_log(Path(folder) / f"{name}.sqlite", name)
            wrong += walk(browser, log, name)
        browser.close()
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
