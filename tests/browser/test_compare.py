"""Batches beside each other in a real browser: reached from how one went, chosen by touch, and kept in the address."""

import re

from barriers import barriers, expect_no_scroll, keep_picture
from playwright.sync_api import expect
from sample_weeks import fill_weeks

SIX_CURVES = re.compile(r"the rise of 6 batches from their start, by the clock\. 28 Feb ready after 2 h 14 min")


def test_from_how_one_went_it_is_laid_over_the_newest_and_back(morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(f"/review?batch={ids['weeks 0']}", ".moments dd")
    page.get_by_role("link", name="Compare with others of this recipe").click()
    page.locator(".figures .line").first.wait_for()
    expect(page.locator(".figures .line")).to_have_count(6)
    chosen = [ids[f"weeks {place}"] for place in (11, 10, 9, 8, 7, 0)]
    expect(page).to_have_url(re.compile(rf"batches={'%2C'.join(str(each) for each in chosen)}&"))
    page.locator(".figures a", has_text="29 Dec").click()
    expect(page).to_have_url(re.compile(rf"/review\?batch={ids['weeks 0']}$"))


def test_one_that_was_made_once_offers_no_comparison(morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(f"/review?batch={ids['over']}", ".moments dd")
    expect(page.get_by_role("link", name="All finished batches")).to_be_visible()
    expect(page.get_by_role("link", name="Compare with others of this recipe")).to_have_count(0)


def test_touch_chooses_batches_and_time_and_a_link_shows_the_same(morning, opens) -> None:
    served, ids = morning
    watched = opens(served, width=390)
    page = watched.open("/compare", ".figures .line")
    expect(page.get_by_label(SIX_CURVES).first).to_be_attached()
    for day in ("22 Feb", "16 Feb", "11 Feb", "5 Feb"):
        page.get_by_role("button", name=day, exact=True).click()
    expect(page.locator(".figures .line")).to_have_count(2)
    page.get_by_text("as if all at 25 °C", exact=True).first.click()
    expect(page.get_by_text("Every dough as if it had been at 25 °C throughout")).to_be_visible()
    expect(page).to_have_url(re.compile(rf"batches={ids['weeks']}%2C{ids['weeks 6']}&time=even$"))
    again = watched.open(page.url.removeprefix(served.url), ".figures .line")
    expect(again.locator(".figures .line")).to_have_count(2)
    expect(again.get_by_text("Every dough as if it had been at 25 °C throughout")).to_be_visible()


def test_one_week_is_said_to_be_too_little(served_nothing, opens) -> None:
    fill_weeks(served_nothing.folder, 2)
    page = opens(served_nothing, width=390).open("/compare", ".figures .line")
    expect(page.get_by_text("5 are the least that can tell a trend")).to_be_visible()
    expect_no_scroll(page, 390)
    assert barriers(page) == []
    keep_picture(page, "compare, two")


def test_a_table_next_to_its_breaking_point_does_not_scroll(morning, opens) -> None:
    served, _ = morning
    page = opens(served).open("/compare", ".figures .line")
    for width in (1161, 1159, 861):
        page.set_viewport_size({"width": width, "height": 900})
        expect_no_scroll(page, width)
