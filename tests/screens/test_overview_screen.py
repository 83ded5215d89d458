"""The overview of all shops: worst first, filtered, in pages, for whom it is."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from sample_bakery import HOSTILE_NAME
from streamlit.testing.v1 import AppTest

from dashboard.access import preferences, visitor
from dashboard.overview import screen
from dashboard.overview.shops import Wrong
from monitor.clock import wall_clock
from monitor.dough.tasks import Do
from monitor.errors import CentralError, CentralKind
from monitor.recipe.batch import Stage
from monitor.settings.access import SECRET_HEADER, USER_HEADER
from monitor.shops import influx
from monitor.shops.summary import ShopSummary
from monitor.store.rows import to_us

SECRET = "the proxy's own"
CLOCK = datetime(2026, 3, 2, 9, 36, tzinfo=UTC)


class FakeLink:
    """A central store that says what a test has put there."""

    found: list[tuple[str, datetime, ShopSummary]]
    fault: CentralError | None

    def __init__(self, *_: object) -> None:
        pass

    def __enter__(self) -> "FakeLink":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def summaries(self) -> Iterator[tuple[str, datetime, ShopSummary]]:
        if FakeLink.fault is not None:
            raise FakeLink.fault
        yield from FakeLink.found


@pytest.fixture(autouse=True)
def centre(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A place where shops come together."""
    shops = f'[shops]\nnames = ["rye-street", "poplar-lane"]\nurl = "file://{tmp_path}/{{site}}"\n'
    (tmp_path / "config.toml").write_text(f'timezone = "UTC"\n[central]\nurl = "http://127.0.0.1:1"\n{shops}')
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["app.py"])
    monkeypatch.setattr(influx, "Link", FakeLink)
    FakeLink.found, FakeLink.fault = [], None
    _forget()
    yield tmp_path
    _forget()


def _forget() -> None:
    for kept in (preferences.settings, screen._looked, visitor.settings):
        kept.clear()


def put(name: str, age: timedelta = timedelta(seconds=30), **more: Any) -> None:
    FakeLink.found.append((name, wall_clock() - age, ShopSummary(clock_us=to_us(CLOCK), **{"doughs": 2, **more})))


def _overview() -> None:
    from dashboard.overview import screen

    screen.show()


def run() -> AppTest:
    app = AppTest.from_function(_overview, default_timeout=60)
    return again(app)


def again(app: AppTest) -> AppTest:
    app.run()
    assert not app.exception
    return app


def words(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def names(app: AppTest) -> list[str]:
    """The shops on the screen, in its order."""
    return re.findall(r'class="which" role="cell">(?:<a [^>]*>)?([^<]+)<', words(app))


def test_each_shop_says_what_hands_must_do_what_is_late_and_what_is_silent() -> None:
    due = {"next_dough": "Milk buns", "next_stage": Stage.FIRST_RISE, "next_do": Do.NEXT}
    put("rye-street", next_us=to_us(CLOCK + timedelta(minutes=8)), **due)
    put("poplar-lane", late=2, late_us=to_us(CLOCK - timedelta(minutes=30)), forecasts=12, held=11, **due,
        next_us=to_us(CLOCK - timedelta(minutes=30)), is_due=True)  # fmt: skip
    put("harbour", timedelta(hours=2), silent=1, silent_us=to_us(CLOCK - timedelta(hours=1)))
    app = run()
    assert names(app) == ["poplar-lane", "harbour", "rye-street"]
    text = words(app)
    assert "2 shops need somebody now" in text
    assert "Now, since 09:06: Milk buns: divide and shape" in text
    assert "09:44: Milk buns: divide and shape" in text
    assert "2, since 09:06" in text
    assert "1, since 08:36" in text
    assert "11 of 12" in text
    assert "last heard" in text
    assert 'href="./?site=poplar-lane"' in text
    assert "site=harbour" not in text  # its store is not shipped to where this place could bring it from


def test_filters_keep_what_is_wrong_in_that_way_and_a_name_finds_its_shop() -> None:
    put("rye-street", late=1, late_us=1)
    put("poplar-lane", air=1)
    put("harbour")
    app = run()
    assert app.get("button_group")[0].options == [
        "Late 1", "Not heard 0", "Monitor in trouble 0", "Sensors silent 0", "Calls unanswered 0", "Air 1",
        "Forecasts off 0",
    ]  # fmt: skip
    app.session_state["wrong"] = [Wrong.AIR]
    assert names(again(app)) == ["poplar-lane"]
    app.session_state["wrong"] = [Wrong.AIR, Wrong.LATE]
    assert names(again(app)) == ["rye-street", "poplar-lane"]
    app.session_state["wrong"] = []
    app.text_input(key="shop").set_value("Harb")
    assert names(again(app)) == ["harbour"]
    app.text_input(key="shop").set_value("nowhere")
    assert "No shop is like that." in words(again(app))


def test_a_thousand_shops_stand_in_pages_worst_first() -> None:
    for k in range(1000):
        put(f"shop-{k:04}", late=int(k == 777), late_us=1)
    app = run()
    assert len(names(app)) == screen.PAGE_ROWS
    assert names(app)[0] == "shop-0777"
    app.session_state["page"] = 20
    assert names(again(app))[-1] == "shop-0999"
    app.text_input(key="shop").set_value("shop-000")  # the page that was open is none of these
    assert len(names(again(app))) == 10


def test_a_hostile_name_stays_text() -> None:
    put("rye-street", next_dough=HOSTILE_NAME, next_stage=Stage.RETARD, next_do=Do.LOOK, next_us=None)
    assert "<img" not in words(run())


def test_without_any_shop_and_without_an_answer_it_says_so() -> None:
    assert "No shop has been heard in the last month." in words(run())
    FakeLink.fault = CentralError("{url} does not answer", CentralKind.AWAY, url="http://127.0.0.1:1")
    _forget()
    text = words(run())
    assert "The central store does not answer" in text
    assert "http://127.0.0.1:1 does not answer" in text


@pytest.mark.parametrize(
    ("who", "seen"), [("anna", ["poplar-lane", "rye-street"]), ("till", ["rye-street"]), ("eve", [])]
)
def test_a_person_sees_the_shops_they_have_a_role_at(
    who: str, seen: list[str], centre: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    headers = {SECRET_HEADER: SECRET, USER_HEADER: who}
    monkeypatch.setattr(visitor.st, "context", SimpleNamespace(headers=headers))
    with (centre / "config.toml").open("a") as file:
        file.write(
            '[dashboard]\nlogin = "proxy"\nbakers = ["anna"]\n[dashboard.sites.rye-street]\nviewers = ["till"]\n'
        )
    (centre / "secrets.toml").write_text(f'proxy_secret = "{SECRET}"\n')
    (centre / "secrets.toml").chmod(0o600)
    put("rye-street")
    put("poplar-lane")
    assert names(run()) == seen


def test_only_where_shops_come_together_there_is_an_overview(centre: Path) -> None:
    assert screen.is_there(centre)
    (centre / "config.toml").write_text('serial = ["/dev/null"]\n[central]\nurl = "http://127.0.0.1:1"\n')
    _forget()
    assert not screen.is_there(centre)
    (centre / "config.toml").write_text("")
    _forget()
    assert not screen.is_there(centre)
