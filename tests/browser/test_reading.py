"""How one reader wants to be told things: it outlives a reload and every change of page, and its words fit a phone."""

import re

import pytest
from barriers import barriers, expect_no_scroll, keep_picture
from playwright.sync_api import Page, expect

# Buttons whose words stand on more than one line, as the browser has set them.
BROKEN = """() => [...document.querySelectorAll('button')].filter(button => button.offsetParent).filter(button => {
    const lines = new Set(), texts = document.createTreeWalker(button, NodeFilter.SHOW_TEXT);
    for (let text = texts.nextNode(); text; text = texts.nextNode()) {
        if (text.parentElement.closest('[data-testid=stIconMaterial]')) continue;
        const range = document.createRange();
        range.selectNodeContents(text);
        for (const box of range.getClientRects()) lines.add(Math.round(box.bottom / 8));
    }
    return lines.size > 1;
}).map(button => button.innerText)"""


def choose(page: Page, opener: str, answer: str) -> None:
    page.get_by_role("button", name=opener).click()
    page.get_by_text(answer, exact=True).click()


def test_a_choice_outlives_a_reload_and_every_change_of_page(morning, opens) -> None:
    page = opens(morning[0]).open("/", ".batch .name")
    choose(page, "More", "Deutsch")
    expect(page.locator(".st-key-nav .here")).to_have_text("Tafel")
    expect(page).to_have_url(re.compile(r"/\?language=de$"))
    page.reload()
    expect(page.locator(".st-key-nav .here")).to_have_text("Tafel")
    page.get_by_role("button", name="Mehr").click()
    page.get_by_role("link", name="Sensoren").click()
    expect(page.locator(".title")).to_have_text("Sensoren")
    expect(page).to_have_url(re.compile(r"/sensors\?language=de$"))
    page.get_by_role("link", name="Tafel").click()
    page.get_by_role("link", name="Barley rolls").click()
    expect(page.locator(".st-key-nav .here")).to_have_text("Teig")
    expect(page).to_have_url(re.compile(r"/batch\?.*language=de"))
    page.reload()
    expect(page.locator(".title")).to_have_text("Barley rolls")
    expect(page.locator(".st-key-nav .here")).to_have_text("Teig")
    page.go_back()
    page.locator(".batch .name").first.wait_for()
    expect(page.locator(".st-key-nav .here")).to_have_text("Tafel")


@pytest.mark.parametrize(
    ("screen", "address", "awaited"),
    [
        ("board", "/?language=de", ".batch .tub"),
        ("batch", "/batch?language=de&batch={past}", ".side .huge"),
        ("start", "/start?language=de", ".tile"),
        ("plan", "/plan?language=de", ".countdown"),
    ],
)
def test_german_words_on_buttons_stand_on_one_line_on_a_phone(screen, address, awaited, morning, opens) -> None:
    served, ids = morning
    page = opens(served, width=390).open(address.format(**ids), awaited)
    page.get_by_role("button", name="Mehr").wait_for()
    page.locator(".stButton button").first.wait_for()
    assert page.evaluate(BROKEN) == []
    expect_no_scroll(page, 390)
    assert barriers(page) == []
    keep_picture(page, f"{screen}, German")
