"""What a screen says to somebody who begins: the way to begin a batch, and what a node cannot see untared."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from sample_bakery import fill
from streamlit.testing.v1 import AppTest

from dashboard.start.editors import BY_EYE, NOT_ZEROED
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def _screens() -> None:
    import os

    import streamlit as st

    from dashboard.batch import screen as batch
    from dashboard.board import screen as board
    from dashboard.start import screen as start

    name = os.environ["PROOFING_TEST_SCREEN"]
    nowhere = st.Page(lambda: None, title="Elsewhere", url_path="elsewhere")
    begin = st.Page(lambda: start.show(nowhere), title="Start", url_path="start", default=name == "start")
    shown = {"board": lambda: board.show(nowhere, begin, begin), "batch": lambda: batch.show(nowhere, begin)}
    pages = [st.Page(draw, title=key, url_path=key, default=name == key) for key, draw in shown.items()]
    st.navigation([*pages, begin, nowhere], position="hidden").run()


@pytest.fixture
def shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def run(name: str) -> AppTest:
        monkeypatch.setenv("PROOFING_TEST_SCREEN", name)
        app = AppTest.from_function(_screens, default_timeout=30).run()
        assert not app.exception, app.exception
        return app

    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    return run


def words(app: AppTest) -> str:
    return " ".join(element.proto.body for element in app.get("html"))


def test_where_no_dough_is_proofing_one_touch_leads_to_begin_one(shown) -> None:
    (link,) = shown("batch").get("page_link")
    assert (link.proto.label, link.proto.page) == ("Start a batch", "start")


def test_where_there_never_was_a_dough_there_are_three_ways(shown) -> None:
    app = shown("board")
    assert [button.label for button in app.button] == ["Show the day", "Begin with a jar", "Look for it"]
    assert "None is heard yet." in words(app)


def test_start_says_what_a_node_cannot_see_in_a_vessel_that_was_never_tared(tmp_path, shown) -> None:
    fill(tmp_path)
    app = shown("start")
    like = next(button for button in app.button if button.key.startswith("choose-doughs-"))
    like.click().run()
    app.button(key="open-vessel").click().run()
    app.button(key="choose-vessels-long tray").click().run()
    app.button(key="open-watcher").click().run()
    assert NOT_ZEROED in words(app)
    app.selectbox(key="edit-node").set_value(BY_EYE).run()
    assert NOT_ZEROED not in words(app)
    assert "Where is the dough now?" in words(app)


def test_a_dough_by_eye_is_told_of_no_sensor_when_nobody_watches_it(tmp_path, shown) -> None:
    with Store(tmp_path / DATABASE_NAME) as store:
        tub = Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0)
        store.batches.add(Batch(BatchId(0), "Walnut loaf", Stage.FIRST_RISE, datetime.now(UTC), tub))
    said = words(shown("board"))
    assert "<code>proofing-monitor collect --by-eye</code>" in said
    assert "node" not in said
