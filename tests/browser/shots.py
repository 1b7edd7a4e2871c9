"""Makes the README's pictures of the pages from the demo: python tests/browser/shots.py [LOG]

Without a log the demo is played into a fresh one first. The pictures go to tests/browser/pictures/.
"""

import contextlib
import io
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from analyzer.answers import Log  # noqa: E402
from analyzer.faces.cli import main as cli  # noqa: E402
from analyzer.faces.web.app import create_app  # noqa: E402
from tests.support.browser import SWITCHES, UNFOLD, WIDTHS, Served, chromium_path  # noqa: E402

OUT = Path(__file__).parent / "pictures"
PLACES = "46 16.890 N, 23 52.440 W\n46 16.500 N, 23 50.600 W\n46 17.300 N, 23 48.300 W Gannet Rock"


@dataclass(frozen=True)
class Shot:
    """One picture: what is shown, what is waited for, and what is brought to the top."""

    path: str
    width: str
    wait_for: str
    look: str = "day"
    top: str = ""  # selector; empty: the page's beginning
    places: str = ""  # typed into the plan and worked out


SHOTS = {
    "under_way": Shot("/", "phone", ".number"),
    "under_way_night": Shot("/", "phone", ".number", look="night"),
    "under_way_contrast": Shot("/", "phone", ".number", look="contrast"),
    "under_way_table": Shot("/", "table", ".number"),
    "trips": Shot("/trips", "phone", ".trips"),
    "review": Shot("/trip/1", "table", "#chart-pack[data-drawn]", top="#chart-pack"),
    "track": Shot("/trip/1", "phone", "#chart-track[data-drawn]", top="#track-title"),
    "log": Shot("/log", "table", ".chart[data-drawn]"),
    "health": Shot("/health", "table", "#cells-title"),
    "plan": Shot("/plan", "phone", "#verdict", places=PLACES),
    "set_up": Shot("/set-up", "table", "#boat-title"),
    "pair": Shot("/pair", "phone", "#code"),
}


def shoot(browser: Browser, base: str, name: str) -> None:
    """One picture, with few colours so that it stays small."""
    shot = SHOTS[name]
    across, up = WIDTHS[shot.width]
    context = browser.new_context(viewport={"width": across, "height": up})
    context.add_cookies([{"name": "look", "value": shot.look, "url": base}])
    page = context.new_page()
    page.goto(base + shot.path)
    if shot.places:
        page.locator("#places").fill(shot.places)
        page.locator("form.plan button:not([type])").first.click()
    if shot.top:
        page.evaluate(UNFOLD)
        page.locator(".chart").first.wait_for()
        show = f"document.querySelector('{shot.top}').scrollIntoView()"
        page.evaluate(show)
    page.wait_for_selector(shot.wait_for, timeout=60_000)
    page.wait_for_timeout(1000)
    if shot.top:
        page.evaluate(show)  # what was drawn above has moved it
    page.wait_for_timeout(1500)
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    image.quantize(64).save(OUT / f"{name}.png", optimize=True)
    context.close()


def main() -> None:
    """All pictures."""
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        log = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "log.sqlite"
        if not log.is_file():
            with contextlib.redirect_stdout(sys.stderr):
                cli.main(["demo", "--log", str(log)])
        with Served(create_app(Log(log, None))) as served, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
            for name in SHOTS:
                shoot(browser, served.url, name)
            browser.close()


if __name__ == "__main__":
    main()
