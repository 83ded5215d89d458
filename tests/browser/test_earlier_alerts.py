"""Alerts that have become others, on a phone: one line that opens under a finger, and stays open."""

from barriers import barriers, expect_no_scroll, keep_picture
from playwright.sync_api import expect
from sample_bakery import NOW, minutes

from dashboard.drawing.palette import MIN_TOUCH_PX
from monitor.alerts.dough import Alert, AlertKind, Subject
from monitor.alerts.reasons import MoreCameOfIt
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def test_the_fold_opens_and_stays_open_while_another_alert_comes(own_morning, opens) -> None:
    served, ids = own_morning
    about = Subject.batch(ids["past"])

    def say(kind: AlertKind, since_min: float) -> None:
        at = NOW - minutes(since_min)
        taken_over = Alert(about, kind, 1, at, at, called_at=at, suppressed_by=MoreCameOfIt(AlertKind.PAST_PEAK))
        with Store(served.folder / DATABASE_NAME) as store:
            store.alerts.save([taken_over], [], [], NOW)

    say(AlertKind.READY_SOON, 80)
    say(AlertKind.READY, 70)
    page = opens(served, width=390).open(f"/batch?batch={ids['past']}", ".side .huge")
    fold = page.locator(".st-key-earlier-alerts")
    ready = fold.get_by_text("Milk buns: ready", exact=True)
    opener = fold.locator("summary")
    expect(opener).to_contain_text("2 earlier alerts")
    expect(ready).not_to_be_visible()
    box = opener.bounding_box()
    assert box is not None
    assert box["height"] >= MIN_TOUCH_PX
    opener.click()
    expect(ready).to_be_visible()
    say(AlertKind.AT_PEAK, 30)
    expect(opener).to_contain_text("3 earlier alerts")
    expect(ready).to_be_visible()
    expect(fold.get_by_role("button")).to_have_count(0)
    assert barriers(page) == []
    expect_no_scroll(page, 390)
    opener.scroll_into_view_if_needed()
    keep_picture(page, "earlier alerts")
