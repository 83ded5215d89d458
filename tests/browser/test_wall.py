"""The board for many doughs and from far away: rows, what has room, and a wall that comes back by itself."""

from dataclasses import replace
from datetime import timedelta

import pytest
from barriers import cut_words, expect_no_scroll, keep_picture
from playwright.sync_api import Browser, expect
from sample_bakery import BENCH, NOW, ROUND_TUB, SHELF, TRAY, Dough, batch, keep
from served import FLAGS
from wall_hours import looks

from dashboard.drawing.icon import icon_png
from monitor.dough.outlook import State
from monitor.recipe.batch import Event, EventKind, Stage
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.store.store import Store
from monitor.wire.readings import Channel

NAME_PX, HOUR_PX = 76, 96  # read from three metres on 24 inches
ROW_PX = 110  # in the mean, on a phone; each of 48 doughs took 190 once


def many(folder, n: int) -> None:
    with Store(folder / DATABASE_NAME) as store:
        for k in range(n):
            stage = Stage.FINAL_PROOF if k % 3 else Stage.RETARD
            made = batch(f"Tray {k + 1}", stage, 60.0 + k, TRAY if k % 2 else ROUND_TUB, 90.0)
            made = replace(made, nodes=((Channel.DISTANCE, SHELF),)) if k % 2 else made
            dough = Dough(made, most_pct=130.0, middle_min=92.0, peak_min=190.0, start_ml=2400.0)
            keep(store, dough, [(0, State.NO_RISE), (20, State.RISING)], 16.0)


@pytest.mark.parametrize(("width", "doughs"), [(390, 100), (1440, 30)])
def test_many_doughs_are_low_rows_by_place_that_can_be_chosen_from(width: int, doughs: int, own_morning, opens) -> None:
    served, _ = own_morning
    (served.folder / CONFIG_NAME).write_text(f'[places]\n"{BENCH}" = "cabinet-1/shelf-1"\n"{SHELF}" = "cabinet-2"\n')
    added = doughs - 8
    many(served.folder, added)
    page = opens(served, width=width).open("/", ".dense li")
    expect(page.locator(".dense li")).to_have_count(doughs)
    expect(page.locator(".place")).to_have_text(["cabinet-1/shelf-1", "cabinet-2"])
    expect(page.locator(".batch")).to_have_count(0)
    heights = page.locator(".dense li").evaluate_all("all => all.map(each => each.getBoundingClientRect().height)")
    assert sum(heights) / doughs <= ROW_PX
    expect_no_scroll(page, width)
    assert cut_words(page) == []
    keep_picture(page, f"board, many doughs, {width}")
    page.locator(".st-key-choose").get_by_text("In the cold").click()
    expect(page.locator(".dense li")).to_have_count(len(range(0, added, 3)))
    expect_no_scroll(page, width)
    page.locator(".dense a").first.click()
    expect(page.locator(".side .huge")).to_be_visible()


def test_four_places_of_a_phone_stay_where_they_are(morning, opens) -> None:
    served, _ = morning
    places = []
    page = opens(served, width=390).open("/", ".batch .tub")
    for awaited, link in ((".batch .tub", "Start"), (".tile", "Plan"), (".section", "Board")):
        page.locator(awaited).first.wait_for()
        boxes = page.locator(".st-key-nav > *:visible").evaluate_all(
            "all => all.map(each => [each.innerText.split('\\n')[0], Math.round(each.getBoundingClientRect().x)])"
        )
        places.append([x for _, x in boxes])
        assert [name for name, _ in boxes] == ["Board", "Start", "Plan", "More"]
        page.locator(".st-key-nav").get_by_text(link, exact=True).click()
    assert places[0] == places[1] == places[2]
    assert page.title() == "Proofing monitor"  # with its sign, what a phone puts on its home screen
    for path in ("/apple-touch-icon.png", page.locator("link[rel~=icon]").first.evaluate("link => link.href")):
        assert page.request.get(path if ":" in path else served.url + path).body() == icon_png()


def test_a_wall_has_nothing_to_touch_and_is_read_from_afar(own_morning, opens) -> None:
    served, _ = own_morning
    many(served.folder, 4)
    page = opens(served, width=1920).open("/?wall=1", ".wall .row")
    expect(page.locator(".wall .row")).to_have_count(5)
    expect(page.locator(".wall .rest")).to_have_text("and 7 more doughs")
    assert page.locator("[data-testid=stMain] :is(button, a, input):visible").count() == 0
    sizes = page.locator(".wall .row .name, .wall .row .hour").evaluate_all(
        "all => all.map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert (min(sizes), max(sizes)) == (NAME_PX, HOUR_PX)
    assert page.locator(".wall .row .sign").first.bounding_box()["width"] == NAME_PX
    expect(page.locator(".wall.dark")).to_have_count(0)
    with Store(served.folder / DATABASE_NAME) as store:
        store.settings.put("epoch", (NOW + timedelta(hours=14)).isoformat())
    expect(page.locator(".wall.dark")).to_have_count(1)


def test_a_wall_keeps_nothing_of_what_it_showed(tmp_path, chromium: str, browser: Browser) -> None:
    alone = browser.browser_type.launch(executable_path=chromium, args=FLAGS)  # else pages share what is counted
    first, *_, last = looks(tmp_path, alone, 150, 50)  # eight hours of it: python -m tests.wall_hours
    alone.close()
    assert last.hour > first.hour  # it was drawn, and not merely asked for
    kept = max(last.nodes - first.nodes, last.listeners - first.listeners)
    assert kept < (last.drawings - first.drawings) / 2


def test_a_wall_comes_back_by_itself_after_its_server(own_morning, browser: Browser) -> None:
    served, ids = own_morning
    page = browser.new_page()  # not a watched one: that nothing answers for a while is no fault of the page
    page.goto(f"{served.url}/?wall=1")
    expect(page.locator(".wall .row").first).to_contain_text("Milk buns", timeout=60_000)
    served.__exit__(None, None, None)
    with Store(served.folder / DATABASE_NAME) as store:
        store.batches.add_event(ids["past"], Event(NOW, EventKind.END))
    with served:
        expect(page.locator(".wall .row").first).to_contain_text("Oat loaf", timeout=60_000)
    page.close()
    served.__enter__()  # as the fixture ends it
