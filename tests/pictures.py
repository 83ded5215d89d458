"""Takes the pictures of README and guide, of the browser tests' own morning: ``python -m tests.pictures``."""

import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests/browser")]  # where pytest finds them too

import sample_bakery  # noqa: E402
from harness import chromium_binary  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402
from sample_weeks import fill_weeks  # noqa: E402
from served import FLAGS, Served  # noqa: E402

PICTURES = ROOT / "dashboard" / "guide" / "pictures"
WIDTH, HEIGHT = 1180, 860
COLOURS = 96  # enough for flat drawings, and a third of the size


def take(folder: Path) -> None:
    """Fill a store, serve it, and keep a picture of board and review."""
    sample_bakery.HOSTILE_NAME, sample_bakery.HOSTILE_LINK = "Currant ring", "Cardamom tray"
    ids = sample_bakery.fill(folder) | fill_weeks(folder)
    pages = {
        "board": ("/", ".batch"),
        "review": (f"/review?batch={ids['over']}", "[data-testid='stVegaLiteChart']"),
    }
    with Served(folder) as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_binary(), args=FLAGS)
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, timezone_id="UTC")
        for name, (path, awaited) in pages.items():
            page.goto(served.url + path)
            page.locator(awaited).first.wait_for(timeout=60_000)
            page.wait_for_load_state("networkidle")
            page.wait_for_timeout(1500)  # charts fade in
            shot = Image.open(BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS)
            shot.save(PICTURES / f"{name}.png", optimize=True)
        browser.close()


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made:
        take(Path(made))
