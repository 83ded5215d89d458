"""Takes the pictures of README and guide, of the browser tests' own morning: ``python -m tests.pictures``.

Each picture carries the words that stood on its screen, so that a test sees when it has gone stale.
"""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

from PIL import Image
from PIL.PngImagePlugin import PngInfo

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests/browser")]  # where pytest finds them too

from harness import chromium_binary  # noqa: E402
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402
from sample_bakery import fill  # noqa: E402
from sample_weeks import fill_weeks  # noqa: E402
from served import FLAGS, Served  # noqa: E402

PICTURES = ROOT / "dashboard" / "guide" / "pictures"
WIDTH, HEIGHT = 1180, 860
COLOURS = 96  # enough for flat drawings, and a third of the size
WORDS = "words"


@contextmanager
def screens(browser: Browser, folder: Path) -> Iterator[Iterator[tuple[str, Page]]]:
    """The screens to be pictured, one after the other, each drawn whole; nobody hostile is about."""
    ids = fill(folder, name="Currant ring", other_name="Cardamom tray") | fill_weeks(folder)
    pages = {
        "board": ("/", ".batch .tub"),
        "review": (f"/review?batch={ids['over']}", "[data-testid='stVegaLiteChart']"),
    }

    def each(url: str, page: Page) -> Iterator[tuple[str, Page]]:
        for name, (path, awaited) in pages.items():
            page.goto(url + path)
            page.locator(awaited).first.wait_for(timeout=60_000)
            page.locator("[data-test-script-state='notRunning']").wait_for(timeout=60_000)
            page.wait_for_load_state("networkidle")
            yield name, page

    with Served(folder) as served:
        context = browser.new_context(viewport={"width": WIDTH, "height": HEIGHT}, timezone_id="UTC")
        yield each(served.url, context.new_page())
        context.close()


def words(page: Page) -> str:
    """What stands in the first panels of a screen, as one reads it."""
    return " ".join(" ".join(page.locator(".stHtml:visible").all_inner_texts()).split())


def main() -> None:
    """Take each picture anew."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_binary(), args=FLAGS)
        with screens(browser, Path(made)) as found:
            for name, page in found:
                page.wait_for_timeout(1500)  # charts fade in
                info = PngInfo()
                info.add_text(WORDS, words(page), zip=True)
                shot = Image.open(BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS)
                shot.save(PICTURES / f"{name}.png", optimize=True, pnginfo=info)
        browser.close()


if __name__ == "__main__":
    main()
