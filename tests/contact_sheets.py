"""Every screen at every width, by day and at night, side by side to be looked at: ``python -m tests.contact_sheets``.

Writes one picture a screen into a folder, and says where a page scrolls sideways or cuts its words. The browser tests
look at two widths of each screen; this is the whole grid, for people's eyes.
"""

import argparse
import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image
from rich.progress import track

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests/browser")]  # where pytest finds them too

import sample_bakery  # noqa: E402
from barriers import cut_words  # noqa: E402
from harness import chromium_binary  # noqa: E402
from playwright.sync_api import Browser, Page, expect, sync_playwright  # noqa: E402
from sample_weeks import fill_weeks  # noqa: E402
from served import FLAGS, Served  # noqa: E402
from test_screens import SCREENS, address  # noqa: E402

WIDTHS_PX = (390, 820, 1440, 1920)
THEMES = ("light", "dark")
HEIGHT_PX = 1000
TALLEST_PX = 4000
SHRUNK = 0.45  # of a page's own size, so that four widths fit a screen
GAP_PX = 16
FADED_MS = 1500

TALL = "Math.max(...[...document.querySelectorAll('[data-testid=stMain], section')].map(each => each.scrollHeight))"
WIDE = "document.documentElement.scrollWidth"


def settle(page: Page) -> None:
    """Wait until everything has come and charts have faded in, however busy the machine."""
    expect(page.locator("[data-testid=stSkeleton], [data-stale=true]")).to_have_count(0, timeout=60_000)
    page.wait_for_timeout(FADED_MS)


def looked_at(page: Page, width: int) -> tuple[Image.Image, list[str]]:
    """A whole page as a picture, and what is wrong with how it is laid out."""
    settle(page)
    page.set_viewport_size({"width": width, "height": min(int(page.evaluate(TALL)) + 40, TALLEST_PX)})
    settle(page)
    wrong = [f"cut: {words}" for words in cut_words(page)]
    if page.evaluate(WIDE) > width:
        wrong.append("scrolls sideways")
    return Image.open(BytesIO(page.screenshot())).convert("RGB"), wrong


def sheet(rows: list[list[Image.Image]]) -> Image.Image:
    """Pictures in rows, made small."""
    small = [[each.resize((int(each.width * SHRUNK), int(each.height * SHRUNK))) for each in row] for row in rows]
    heights = [max(each.height for each in row) for row in small]
    width = max(sum(each.width + GAP_PX for each in row) for row in small)
    made = Image.new("RGB", (width, sum(heights) + GAP_PX * len(rows)), "grey")
    top = 0
    for row, height in zip(small, heights, strict=True):
        left = 0
        for each in row:
            made.paste(each, (left, top))
            left += each.width + GAP_PX
        top += height + GAP_PX
    return made


def draw(browser: Browser, folder: Path, out: Path, screens: list[str]) -> list[str]:
    """Make a sheet of some screens; what is wrong on any of them."""
    ids = sample_bakery.fill(folder) | fill_weeks(folder)
    wrong: list[str] = []
    with Served(folder) as served:
        for screen in track(screens, "screens"):
            awaited = SCREENS[screen][2]
            rows: list[list[Image.Image]] = []
            for theme in THEMES:
                rows.append([])
                for width in WIDTHS_PX:
                    context = browser.new_context(
                        viewport={"width": width, "height": HEIGHT_PX}, color_scheme=theme, timezone_id="UTC"
                    )
                    page = context.new_page()
                    page.goto(served.url + address(screen, ids))
                    page.locator(awaited).first.wait_for(timeout=60_000)
                    picture, faults = looked_at(page, width)
                    rows[-1].append(picture)
                    wrong += [f"{screen}, {width} px, {theme}: {fault}" for fault in faults]
                    context.close()
            sheet(rows).save(out / f"{screen.replace(', ', '-').replace(' ', '-')}.png", optimize=True)
    return wrong


def main() -> int:
    """Make every sheet; 1 when something is laid out wrongly."""
    parser = argparse.ArgumentParser("tests.contact_sheets", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("contact-sheets"), help="folder for the sheets")
    parser.add_argument("screens", nargs="*", help=f"which of: {'; '.join(SCREENS)} (all)")
    asked = parser.parse_args()
    out: Path = asked.out
    screens: list[str] = asked.screens or list(SCREENS)
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as made, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_binary(), args=FLAGS)
        wrong = draw(browser, Path(made), out, screens)
        browser.close()
    print(*wrong, f"{len(screens)} sheets in {out}", sep="\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
