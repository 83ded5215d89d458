"""A tap that was a slip is taken back; one that cannot be asks first."""

from playwright.sync_api import expect

from monitor.recipe.batch import BatchId, EventKind
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def kinds(folder, batch_id: BatchId) -> list[EventKind]:
    with Store(folder / DATABASE_NAME) as store:
        return [event.kind for event in store.batches.get(batch_id).events]


def test_a_note_is_taken_back_at_once_or_later(own_morning, opens) -> None:
    served, ids = own_morning
    page = opens(served).open(f"/batch?batch={ids['ready']}", ".side .huge")
    page.locator(".st-key-fold button").click()
    expect(page.locator(".st-key-undo [role=status]")).to_contain_text("Noted: folded")
    assert kinds(served.folder, ids["ready"]) == [EventKind.FOLD]
    page.locator(".st-key-undo").get_by_role("button", name="Undo").click()
    expect(page.locator(".st-key-undo")).to_have_count(0)
    assert kinds(served.folder, ids["ready"]) == []
    page.locator(".st-key-fold button").click()
    page.get_by_text("What was noted").click()
    page.locator(".st-key-noted-0").get_by_role("button", name="Take back").click()
    expect(page.locator(".st-key-noted-0")).to_have_count(0)
    assert kinds(served.folder, ids["ready"]) == []


def test_a_fold_of_a_dough_past_its_peak_asks_first(own_morning, opens) -> None:
    served, ids = own_morning
    page = opens(served).open(f"/batch?batch={ids['past']}", ".side .huge")
    page.locator(".st-key-fold button").click()
    expect(page.get_by_role("dialog")).to_contain_text("It is at its peak or past it")
    assert kinds(served.folder, ids["past"]) == []
    page.get_by_role("button", name="Yes, it was folded").click()
    expect(page.locator(".st-key-undo [role=status]")).to_contain_text("Noted: folded")
    assert kinds(served.folder, ids["past"]) == [EventKind.FOLD]


def test_a_stage_is_not_begun_hours_early_by_one_tap(own_morning, opens) -> None:
    served, _ = own_morning
    page = opens(served).open("/plan", ".countdown")
    page.locator("[class*='st-key-done-'] button").first.click()
    expect(page.get_by_role("dialog")).to_contain_text("It is planned for 3 h 24 min from now")
    with Store(served.folder / DATABASE_NAME) as store:
        before = len(store.batches.running())
    page.get_by_role("button", name="Begin it now").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    with Store(served.folder / DATABASE_NAME) as store:
        assert len(store.batches.running()) == before + 1
