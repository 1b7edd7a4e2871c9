"""Makes the README's pictures of the pages from the demo: python tests/browser/shots.py [LOG]

Without a log the demo is played into a fresh one first. The pictures go to tests/browser/pictures/.
"""

import contextlib
import io
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from conftest import _SWITCHES, WIDTHS, Served, _chromium  # noqa: E402

from analyzer.faces import cli  # noqa: E402
from analyzer.faces.api import create_app  # noqa: E402

OUT = Path(__file__).parent / "pictures"
PAGES = {  # picture -> path, width, look, what to wait for, how far down
    "under_way": ("/", "phone", "day", ".number", 0),
    "under_way_night": ("/", "phone", "night", ".number", 0),
    "under_way_contrast": ("/", "phone", "contrast", ".number", 0),
    "under_way_table": ("/", "table", "day", ".number", 0),
    "trips": ("/trips", "phone", "day", ".trips", 0),
    "review": ("/trip/1", "table", "day", "#chart-way[data-drawn]", 320),
    "health": ("/health", "table", "day", "#cells-title", 0),
    "plan": ("/plan", "phone", "day", "form", 0),
    "set_up": ("/set-up", "table", "day", "#boat-title", 0),
}


def shoot(browser: Browser, base: str, name: str) -> None:
    """One picture, with few colours so that it stays small."""
    path, width, look, wait_for, down = PAGES[name]
    across, up = WIDTHS[width]
    context = browser.new_context(viewport={"width": across, "height": up})
    context.add_cookies([{"name": "look", "value": look, "url": base}])
    page = context.new_page()
    page.goto(base + path)
    page.wait_for_selector(wait_for, timeout=60_000)
    page.mouse.wheel(0, down)
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
        with Served(create_app(log, None)) as served, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=_chromium(), args=_SWITCHES)
            for name in PAGES:
                shoot(browser, served.url, name)
            browser.close()


if __name__ == "__main__":
    main()
