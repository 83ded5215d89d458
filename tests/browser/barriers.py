"""What keeps people from using a page (by axe-core, WCAG 2.2 AA), whether it fits, and a picture of it."""

import re
from functools import cache
from importlib.resources import files
from pathlib import Path

from playwright.sync_api import Page, expect
from playwright.sync_api import TimeoutError as TooLate

PICTURES = Path(__file__).parents[2] / "build" / "pictures"  # kept by CI, never committed
WIDTHS = {"desktop": 1280, "tablet": 820, "phone": 390}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# Of the framework's own making, node by node: (rule, beginning of the node's HTML). None so far.
NOT_OURS: tuple[tuple[str, str], ...] = ()
# Words that run out of a box which hides what runs out; what scrolls by itself or is meant for a screen reader is none.
CUT = """() => [...document.querySelectorAll('[data-testid=stMain] *')].filter(each => {
    const style = getComputedStyle(each)
    return each.clientWidth > 2 && each.scrollWidth > each.clientWidth + 1 && style.overflowX === 'hidden'
        && style.clip === 'auto' && [...each.childNodes].some(node => node.nodeType === 3 && node.data.trim())
}).map(each => each.textContent.trim().slice(0, 60))"""


@cache
def _axe() -> str:
    return files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def barriers(page: Page) -> list[str]:
    """What axe-core finds wrong, but what is the framework's own; and a word when it could not look."""
    page.evaluate(_axe())
    found = page.evaluate("rules => axe.run(document, {runOnly: rules})", RULES)
    said = [] if len(found["passes"]) >= 8 else [f"only {len(found['passes'])} rules passed: was the page there?"]
    for violation in found["violations"]:
        for node in violation["nodes"]:
            html = node["html"]
            if not any(violation["id"] == rule and html.startswith(start) for rule, start in NOT_OURS):
                said.append(f"{violation['impact']} {violation['id']}: {violation['help']}: {html[:300]}")
    return said


def expect_no_scroll(page: Page, width: int) -> None:
    """Nothing reaches beyond the width of the screen; a table that does is cut off without the page growing."""
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    beyond = "(tables, width) => tables.filter(t => t.getBoundingClientRect().right > width + 1).map(t => t.innerText)"
    assert page.locator("table.rows").evaluate_all(beyond, width) == []


def cut_words(page: Page) -> list[str]:
    """The words that run out of a box which hides what runs out."""
    found: list[str] = page.evaluate(CUT)
    return found


def expect_usable(page: Page, name: str) -> None:
    """At every width nothing keeps people from using the page, all of it fits, and nothing failed."""
    for device, width in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": 900})
        expect_no_scroll(page, width)
        found = barriers(page)
        assert found == [], found
        expect(page.locator("[data-testid=stException]")).to_have_count(0)
        keep_picture(page, f"{name}, {device}")


def keep_picture(page: Page, name: str) -> None:
    """A picture of what is on the screen now."""
    try:
        picture = page.screenshot(timeout=30_000)
    except TooLate:  # a busy Chromium may draw no frame for a page that lies behind; one that hangs fails here too
        page.bring_to_front()
        picture = page.screenshot()
    keep(picture, f"{name}.png")


def keep(content: bytes, name: str) -> None:
    """A file for whoever wants to look at it after the run."""
    PICTURES.mkdir(parents=True, exist_ok=True)
    (PICTURES / re.sub(r"[^a-z.]+", "-", name)).write_bytes(content)
