"""Pictures of every page at five sizes in three looks: python tests/browser/sizes.py [LOG] [PAGE..]

Without a log the demo is played into a fresh one first. They go to tests/browser/pictures/sizes/,
which is not kept in the repository: one sheet for a page and a look, the sizes side by side.
"""

import contextlib
import io
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from analyzer.answers import Log  # noqa: E402
from analyzer.faces.cli import main as cli  # noqa: E402
from analyzer.faces.web.app import create_app  # noqa: E402
from tests.support.browser import SWITCHES, Served, chromium_path  # noqa: E402

OUT = Path(__file__).parent / "pictures" / "sizes"
SIZES = ((320, 568), (390, 844), (844, 390), (768, 1024), (1280, 800))
LOOKS = ("day", "night", "contrast")
PAGES = (
    "/",
    "/trips",
    "/season",
    "/trip/1",
    "/log",
    "/plan",
    "/health",
    "/gain",
    "/set-up",
    "/set-up/guide",
    "/set-up/first-test",
    "/pair",
)
GAP_PX = 12


def shot(browser: Browser, url: str, look: str, size: tuple[int, int]) -> Image.Image:
    """The first screen of a page."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    context.add_cookies([{"name": "look", "value": look, "url": url}])
    page = context.new_page()
    page.set_default_timeout(180_000)  # of a busy machine; assumed
    page.goto(url)
    if page.locator(".chart:visible").count():
        page.wait_for_selector(".chart[data-drawn]")
    page.wait_for_timeout(700)
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    context.close()
    return image


def sheet(images: list[Image.Image]) -> Image.Image:
    """Pictures side by side on grey."""
    wide = sum(image.width + GAP_PX for image in images)
    made = Image.new("RGB", (wide, max(image.height for image in images)), "#808080")
    left = 0
    for image in images:
        made.paste(image, (left, 0))
        left += image.width + GAP_PX
    return made


def main() -> None:
    """All sheets."""
    OUT.mkdir(parents=True, exist_ok=True)
    wanted = [told for told in sys.argv[1:] if told.startswith("/") and not Path(told).is_file()]
    logs = [told for told in sys.argv[1:] if Path(told).is_file()]
    with tempfile.TemporaryDirectory() as folder:
        log = Path(logs[0]) if logs else Path(folder) / "log.sqlite"
        if not log.is_file():
            with contextlib.redirect_stdout(sys.stderr):
                cli.main(["demo", "--log", str(log)])
        with Served(create_app(Log(log, None))) as served, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
            for path in wanted or PAGES:
                for look in LOOKS:
                    images = [shot(browser, served.url + path, look, size) for size in SIZES]
                    name = path.strip("/").replace("/", "_") or "under_way"
                    sheet(images).quantize(64).save(OUT / f"{name}_{look}.png", optimize=True)
            browser.close()


if __name__ == "__main__":
    main()
