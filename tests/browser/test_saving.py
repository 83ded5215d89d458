"""What is saved from a screen in a real browser: it arrives, it is what it says, and the screen goes on meanwhile."""

import csv
import io
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pyarrow.parquet as pq
import pytest
from barriers import barriers
from harness import wait_until
from playwright.sync_api import Locator, Page, expect

PNG = b"\x89PNG\r\n\x1a\n"


def control_of(page: Page, name: str) -> Locator:
    """A control that has come to rest: charts drawn late push it down, and what it opened would go along."""
    control = page.get_by_role("button", name=name).first
    places = [control.bounding_box()]

    def is_at_rest() -> bool:
        page.wait_for_timeout(1000)
        places.append(control.bounding_box())
        return places[-1] == places[-2]

    wait_until(is_at_rest, f"{name} stays where it is")
    return control


def saved(page: Page, what: str) -> bytes:
    """Touch one button of an open control; what arrives."""
    with page.expect_download() as coming:
        page.get_by_role("button", name=what, exact=True).click()
    return Path(coming.value.path()).read_bytes()


@pytest.mark.parametrize(
    ("screen", "control", "column"),
    [
        ("/batch?batch={nearly}", "Save rise", "rise_p50_pct"),
        ("/review?batch={over}", "Save forecasts", "ready_p50_utc"),
        ("/plan", "Save plan", "step"),
        ("/sensors", "Save sensors", "signal_dbm"),
    ],
)
def test_picture_and_data_arrive_and_are_what_they_say(screen, control, column, morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(screen.format(**ids), ".title")
    if control == "Save forecasts":  # what nobody asks for at once is folded
        page.get_by_text("Every forecast made at the time").click()
    control_of(page, control).click()
    assert saved(page, "Picture, PNG").startswith(PNG)
    assert ElementTree.fromstring(saved(page, "Picture, SVG")).tag.endswith("svg")
    rows = list(csv.DictReader(io.StringIO(saved(page, "Data, CSV").decode(), newline="")))
    assert rows
    assert column in rows[0]
    assert pq.read_table(io.BytesIO(saved(page, "Data, Parquet"))).num_rows == len(rows)
    assert barriers(page) == []


def test_the_control_is_reached_by_keyboard_and_stays_open_while_the_screen_refreshes(morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(f"/batch?batch={ids['nearly']}", ".side .huge")
    control = control_of(page, "Save rise")
    control.focus()
    page.keyboard.press("Enter")
    button = page.get_by_role("button", name="Data, CSV", exact=True)
    expect(button).to_be_visible()
    button.evaluate("button => { button.dataset.seen = 'before' }")
    page.evaluate(
        "window.refreshed = 0; new MutationObserver(() => window.refreshed++)"
        ".observe(document.body, {subtree: true, attributes: true, childList: true})"
    )
    page.wait_for_function("window.refreshed > 3")
    expect(button).to_be_visible()
    assert button.get_attribute("data-seen") == "before"
    assert saved(page, "Data, CSV").startswith(b"at_utc,at_local,what,")


def test_a_baker_takes_a_batch_whole(morning, opens) -> None:
    served, ids = morning
    page = opens(served).open(f"/review?batch={ids['over']}", ".next-time")
    control_of(page, "Save all of this batch").click()
    with zipfile.ZipFile(io.BytesIO(saved(page, "Tables, CSV"))) as packed:
        assert {"ARCHIVE.json", "batch.csv", "reading.csv"} <= set(packed.namelist())
