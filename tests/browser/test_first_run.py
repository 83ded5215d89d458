"""The first board: three ways, each a touch or a key; the example stays apart from a baker's own doughs."""

import re

import pytest
from barriers import barriers, expect_no_scroll, keep_picture
from playwright.sync_api import expect

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

WIDTHS = pytest.mark.parametrize("width", [390, 1440])


@WIDTHS
def test_the_example_is_looked_at_and_left_by_keys_and_nothing_of_it_is_kept(width, served_nothing, opens) -> None:
    page = opens(served_nothing, width=width).open("/", ".way")
    expect(page.locator(".way")).to_have_count(3)
    assert barriers(page) == []
    expect_no_scroll(page, width)
    last, nav = page.locator(".st-key-look-for-sensor").bounding_box(), page.locator(".st-key-nav").bounding_box()
    assert last["y"] + last["height"] <= (nav["y"] if width < 600 else 900)  # all three ways are seen at once
    keep_picture(page, f"board, first run, {width}")
    page.get_by_role("button", name="Show the day").press("Enter")
    page.locator(".batch .name", has_text="Milk rolls by the oven").wait_for()
    mark = page.get_by_text("This is an example. Nothing of it is kept.")
    expect(mark).to_be_visible()
    assert barriers(page) == []
    expect_no_scroll(page, width)
    keep_picture(page, f"board, example, {width}")
    page.get_by_role("link", name="Open Milk rolls by the oven").press("Enter")
    page.locator(".side .huge").wait_for()
    expect(mark).to_be_visible()
    expect(page.locator(".st-key-fold, .st-key-end")).to_have_count(0)
    page.locator(".st-key-nav").get_by_role("link", name="Board", exact=True).locator("visible=true").click()
    page.locator(".batch .name").first.wait_for()
    page.get_by_role("button", name="Back to my own").press("Enter")
    page.locator(".way").first.wait_for()
    expect(mark).to_have_count(0)
    with Store(served_nothing.folder / DATABASE_NAME) as store:
        assert store.batches.all() == []


def test_the_other_ways_lead_to_start_and_to_the_sensors(served_nothing, opens) -> None:
    watched = opens(served_nothing, width=390)
    page = watched.open("/", ".way")
    page.get_by_role("button", name="Begin with a jar").click()
    page.locator(".tile").first.wait_for()
    page = watched.open("/", ".way")
    page.get_by_role("button", name="Look for it").click()
    expect(page).to_have_url(re.compile("/sensors"))
