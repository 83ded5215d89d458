"""Each screen in German, in Fahrenheit, ounces and twelve hours: no English is left where a translation is promised."""

import html
import re
from datetime import timedelta
from pathlib import Path

import pytest
from sample_bakery import NOW, fill
from streamlit.testing.v1 import AppTest

from dashboard.board import screen as board
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.store import heartbeat
from monitor.store.store import Store

SCREENS = sorted(path.parent.name for path in Path(board.__file__).parents[1].glob("*/screen.py"))
SCREENS.remove("guide")  # its pages are English
# Words that English cannot do without and German does not have.
ENGLISH = re.compile(
    r"\b(the|and|of|is|are|with|until|since|not|ready|dough|from|to|its|has|have|for|on|no|by|this|that|be|or|as|it)\b",
    re.IGNORECASE,
)
# What may stay: names the baker gave, a part of a recipe among them; what is kept as it was worded when it was sent.
STAYS = (
    "Hill country loaf", "Village loaf: ready. Divide and shape.", "Tamarack loaf: dough", "dough kneten",
    "dough, 59,5 oz", "dough: St", "it has not begun to rise",
)  # fmt: skip


def _screen() -> None:
    """One screen of the app, with the others behind it."""
    import os

    import streamlit as st

    from dashboard.batch import screen as batch
    from dashboard.board import screen as board
    from dashboard.compare import screen as compare
    from dashboard.formula import screen as formula
    from dashboard.plan import screen as plan
    from dashboard.review import screen as review
    from dashboard.safety import screen as safety
    from dashboard.sensors import screen as sensors
    from dashboard.start import screen as start

    name = os.environ["PROOFING_TEST_SCREEN"]
    compare_page = st.Page(compare.show, title="c", url_path="c", default=name == "compare")
    review_page = st.Page(
        lambda: review.show(review_page, compare_page), title="f", url_path="f", default=name == "review"
    )
    batch_page = st.Page(lambda: batch.show(review_page, review_page), title="b", url_path="b", default=name == "batch")
    others = {
        "board": lambda: board.show(batch_page, review_page, review_page),
        "sensors": sensors.show,
        "safety": safety.show,
    }
    others |= {"start": lambda: start.show(batch_page), "plan": plan.show, "formula": formula.show}
    pages = [st.Page(draw, title=key, url_path=key, default=name == key) for key, draw in others.items()]
    st.navigation([review_page, batch_page, compare_page, *pages], position="hidden").run()


@pytest.fixture(scope="module")
def bakery(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, int]]:
    folder = tmp_path_factory.mktemp("bakery")
    ids = fill(folder)
    (folder / CONFIG_NAME).write_text(
        'timezone = "Europe/Vienna"\nlanguage = "de"\ntemp_unit = "F"\nmass_unit = "oz"\nclock = "12"\n'
    )
    return folder, dict(ids)


def told(app: AppTest) -> list[str]:
    """Everything a person reads: text, labels, answers to choose from, and what stands for a picture."""
    found = []
    for element in app.get("html"):
        body = re.sub(r"<(pre|code|style)[^>]*>.*?</\1>", " ", str(element.proto.body), flags=re.DOTALL)
        found += re.findall(r'\b(?:alt|title|data-what)="([^"]*)"', body)
        found.append(re.sub(r"<[^>]+>", "\n", body))
    found += [str(element.proto.alt) for element in app.get("vega_lite_chart")]
    for kind in ("button", "selectbox", "text_input", "number_input", "select_slider", "radio", "checkbox"):
        for element in app.get(kind):
            found += [str(element.label), *map(str, getattr(element, "options", ()))]
    lines = [line for text in found for line in html.unescape(text).splitlines()]
    return [line.strip() for line in lines if line.strip()]


def leftovers(lines: list[str]) -> list[str]:
    found = []
    for line in lines:
        bare = line
        for name in STAYS:
            bare = bare.replace(name, "")
        if ENGLISH.search(bare):
            found.append(line)
    return found


@pytest.mark.parametrize("name", [*SCREENS, "review one"])
def test_a_screen_is_told_in_german(name, bakery, monkeypatch):
    folder, ids = bakery
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    monkeypatch.setenv("PROOFING_TEST_SCREEN", name.split()[0])
    app = AppTest.from_function(_screen, default_timeout=60)
    if name in ("batch", "review one"):
        app.query_params["batch"] = str(ids["nearly" if name == "batch" else "ended"])
    app.run()
    assert not app.exception, app.exception
    assert leftovers(told(app)) == []


def test_that_nobody_watches_is_told_in_german(bakery, monkeypatch):
    folder, _ = bakery
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    monkeypatch.setenv("PROOFING_TEST_SCREEN", "board")
    with Store(folder / DATABASE_NAME) as store:
        store.settings.put(heartbeat.KEY, (NOW - timedelta(minutes=15)).isoformat())
    lines = told(AppTest.from_function(_screen, default_timeout=60).run())
    with Store(folder / DATABASE_NAME) as store:
        heartbeat.beat(store)
    assert "Seit 10:21\u00a0AM läuft kein Sammler: niemand wird gerufen." in lines
    assert leftovers(lines) == []
