"""The choice of another batch on the batch's screen: each touch counts, and the way back leads back."""

import re

from playwright.sync_api import Page, expect


def pick(page: Page, name: str) -> None:
    # A page still being drawn closes an opened list.
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")
    page.get_by_role("combobox").click()
    page.get_by_role("option").filter(has_text=name).click()
    expect(page.locator(".title")).to_have_text(name)


def test_each_of_several_choices_in_a_row_is_followed(morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(f"/batch?batch={ids['nearly']}", ".side .huge")
    for batch, name in (("rising", "Barley rolls"), ("ready", "Seed tin"), ("rising", "Barley rolls")):
        pick(page, name)
        expect(page).to_have_url(re.compile(rf"batch={ids[batch]}$"))
    page.go_back()
    expect(page.locator(".title")).to_have_text("Seed tin")
    pick(page, "Barley rolls")
