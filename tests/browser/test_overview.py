"""All shops in a real browser, from a real InfluxDB; one tap opens a shop, which a real Litestream brings."""

import functools
from collections.abc import Iterator
from pathlib import Path

import pytest
from barriers import expect_usable
from harness import SetClock, wait_until
from influx import TOKEN, Influx
from playwright.sync_api import expect
from replicas import ship_now, shipping
from sample_bakery import NOW, fill
from served import Served

from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.shops import Centre
from monitor.shops.sender import Sender
from monitor.store.store import Store


def has_said(influx: Influx, site: str) -> bool:
    """Whether a shop has said how it stands."""
    return bool(influx.do(f"SELECT doughs FROM shop WHERE site = '{site}'"))


@pytest.fixture
def centre(tmp_path: Path, influx: Influx, chromium: str) -> Iterator[Served]:
    """Where two shops come together: one on a busy morning, one without a dough."""
    folder, busy = tmp_path / "centre", tmp_path / "rye-street"
    fill(busy)
    for site in ("poplar-lane", "rye-street"):
        database = tmp_path / site / DATABASE_NAME
        database.parent.mkdir(exist_ok=True)
        Store(database).close()
        sender = Sender(database, Centre(influx.url), TOKEN, site, SetClock(NOW))
        sender.start()
        wait_until(functools.partial(has_said, influx, site), "it said how it stands")
        sender.stop()
        with shipping(database.parent, folder / "replicas" / site) as litestream:
            ship_now(litestream)
    shops = f'[shops]\nnames = ["poplar-lane", "rye-street"]\nurl = "{folder.as_uri()}/replicas/{{site}}"\n'
    (folder / "config.toml").write_text(f'timezone = "UTC"\n[central]\nurl = "{influx.url}"\n{shops}')
    (folder / "secrets.toml").write_text(f'influx_token = "{TOKEN}"\n')
    (folder / "secrets.toml").chmod(0o600)
    with Served(folder) as served:
        yield served


def test_the_worst_shop_stands_first_and_one_tap_opens_it(centre, opens) -> None:
    page = opens(centre).open("/overview", ".shops .which a")
    names = page.locator(".shops .which a")
    expect(names).to_have_text(["rye-street", "poplar-lane"])
    expect(page.locator(".shops .urgent")).to_have_count(1)
    expect(page.get_by_text("1 shop needs somebody now")).to_be_visible()
    expect_usable(page, "overview")
    page.set_viewport_size({"width": 1280, "height": 900})
    page.get_by_role("button", name="Not heard 0").click()
    expect(page.get_by_text("No shop is like that.")).to_be_visible()
    page.get_by_role("button", name="Not heard 0").click()
    page.get_by_role("textbox", name="Shop").fill("rye")
    page.keyboard.press("Enter")
    expect(names).to_have_text(["rye-street"])
    names.first.click()
    expect(page.locator(".batch .name").first).to_be_visible()
    expect(page.locator("input[value='rye-street']")).to_be_visible()
    expect(page.get_by_text("poplar-lane")).to_have_count(0)


def test_at_night_it_is_readable_and_without_its_server_it_says_so(centre, influx, opens) -> None:
    page = opens(centre, theme="dark", width=390).open("/overview", ".shops .which a")
    expect_usable(page, "overview, night")
    influx.kill()
    page = opens(centre).open("/overview", ".panel")
    expect(page.get_by_text("The central store does not answer")).to_be_visible()
    expect_usable(page, "overview, broken")
