"""Start: two taps without scrolling, a level that is dragged or set by keys, and a beginning that is taken back."""

import pytest
from barriers import barriers, expect_no_scroll, keep_picture
from harness import wait_until
from playwright.sync_api import Locator, Page, expect

from dashboard.drawing.palette import DAY
from monitor.recipe.batch import Batch
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.batches import eye_node
from monitor.store.store import Store
from monitor.wire.readings import Channel

SIZES = pytest.mark.parametrize(("width", "height"), [(390, 844), (1180, 820)])
OF_SENSORS = ("node", "cable", "supply", "broker")  # what nobody may be told whose dough no sensor looks at


def batches(folder) -> list[Batch]:
    with Store(folder / DATABASE_NAME) as store:
        return store.batches.all()


def expect_in_sight(target: Locator, page: Page) -> None:
    """The target lies whole in the window, and nothing lies over its middle."""
    box, size = target.bounding_box(), page.viewport_size
    assert box is not None
    assert size is not None
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= size["height"], box
    assert target.evaluate(
        """each => {
            const box = each.getBoundingClientRect();
            const top = each.getRootNode().elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
            return each === top || each.contains(top);
        }"""
    )


@SIZES
def test_a_dough_is_begun_in_two_taps_without_scrolling_and_taken_back(width, height, own_morning, opens) -> None:
    served, _ = own_morning
    before = len(batches(served.folder))
    page = opens(served, width=width).open("/start", ".tile")
    page.set_viewport_size({"width": width, "height": height})
    tile = page.get_by_role("button", name="Barley rolls, final proof")
    expect_in_sight(tile, page)
    tile.click()
    begin = page.get_by_role("button", name="Begin", exact=True)
    expect(page.locator(".line b").first).to_have_text("Barley rolls, 2")
    expect_in_sight(begin, page)
    expect(page.locator(".st-key-begin")).to_contain_text("Begun now, it is ready about")
    expect_no_scroll(page, width)
    assert barriers(page) == []
    keep_picture(page, f"start, chosen, {width}")
    begin.click()
    page.locator(".st-key-undo", has_text="Begun: Barley rolls, 2").wait_for()
    assert len(batches(served.folder)) == before + 1
    page.locator(".st-key-undo").get_by_role("button", name="Undo").click()
    wait_until(lambda: len(batches(served.folder)) == before, "the batch is taken back")
    expect(page.locator(".title", has_text="Barley rolls, 2")).to_have_count(0)


def test_a_beginning_without_a_name_is_grey_and_one_is_taken_back_later_from_the_notes(own_morning, opens) -> None:
    served, _ = own_morning
    page = opens(served).open("/start", ".tile")
    begin = page.get_by_role("button", name="Begin", exact=True)
    page.locator(".st-key-open-name button").click()
    name = page.locator(".st-key-edit-name input")
    name.fill("")
    name.press("Enter")
    expect(page.get_by_text("Give it a name first.")).to_be_visible()
    expect(begin).to_be_disabled()
    red, green, blue = (int(DAY.line[k : k + 2], 16) for k in (1, 3, 5))
    expect(begin).to_have_css("background-color", f"rgb({red}, {green}, {blue})")
    name.fill("Larch loaf")
    name.press("Enter")
    begin.click()
    page.get_by_text("What was noted").click()
    before = len(batches(served.folder))
    page.locator(".st-key-noted-begun").get_by_role("button", name="Take back").click()
    wait_until(lambda: len(batches(served.folder)) == before - 1, "the batch is taken back")


@SIZES
def test_the_level_is_dragged_and_stepped_within_the_tub(width, height, served_nothing, opens) -> None:
    page = opens(served_nothing, width=width).open("/start", ".tile")
    page.set_viewport_size({"width": width, "height": height})
    page.get_by_role("button", name="Something new").click()
    page.locator(".st-key-start-chosen").wait_for()
    level = page.get_by_role("slider")
    expect(level).to_have_attribute("aria-valuetext", "not said yet")
    expect_in_sight(level, page)
    expect_in_sight(page.get_by_role("button", name="Begin", exact=True), page)
    assert barriers(page) == []
    box = level.bounding_box()
    assert box is not None
    middle = box["x"] + 0.4 * box["width"]
    page.mouse.move(middle, box["y"] + 0.5 * box["height"])
    page.mouse.down()
    page.mouse.move(middle, box["y"] - 300.0, steps=4)  # far over the rim
    page.mouse.up()
    expect(level).to_have_attribute("aria-valuenow", "180")
    level.press("PageDown")
    level.press("ArrowDown")
    expect(level).to_have_attribute("aria-valuetext", "169 mm")
    page.get_by_role("button", name="one millimetre less").click()
    expect(page.locator(".line", has_text="you; no sensor")).to_contain_text("stands at 168 mm now")
    page.locator(".st-key-go button").click()
    page.locator(".st-key-undo").wait_for()
    expect_in_sight(page.locator(".st-key-undo button"), page)
    (batch,) = batches(served_nothing.folder)
    with Store(served_nothing.folder / DATABASE_NAME) as store:
        (seen,) = store.readings.between(eye_node(batch.id), Channel.LEVEL, batch.started_at, batch.started_at)
    assert (seen.value, batch.nodes) == (168.0, ())
    for path in (f"/batch?batch={batch.id}", "/"):
        page.goto(served_nothing.url + path)
        page.get_by_text("Dough of ").first.wait_for()
        said = page.locator("[data-testid=stMain]").inner_text().lower()
        assert [word for word in OF_SENSORS if word in said] == []


def test_a_dough_is_begun_by_keys_alone(own_morning, opens) -> None:
    served, _ = own_morning
    before = len(batches(served.folder))
    page = opens(served, width=1440).open("/start", ".tile")
    page.get_by_role("button", name="Seed tin, final proof").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".line b").first).to_have_text("Seed tin, 2")
    begin = page.locator(".st-key-go button")
    expect(begin).to_be_enabled()  # the last that is drawn: from here on nothing takes the place of what has the focus
    page.locator("[data-test-script-state='notRunning']").wait_for()
    for _ in range(40):
        page.keyboard.press("Tab")
        if begin.evaluate("button => button === document.activeElement"):
            break
    expect(begin).to_be_focused()
    page.keyboard.press("Enter")
    page.locator(".st-key-undo", has_text="Begun: Seed tin, 2").wait_for()
    assert len(batches(served.folder)) == before + 1
