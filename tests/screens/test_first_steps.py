"""What a screen says to somebody who begins: the way to begin a batch, and what a node cannot see untared."""

from pathlib import Path

import pytest
from sample_bakery import fill
from streamlit.testing.v1 import AppTest

from dashboard.start.screen import BY_EYE, NOT_ZEROED


def _screens() -> None:
    import os

    import streamlit as st

    from dashboard.batch import screen as batch
    from dashboard.board import screen as board
    from dashboard.start import screen as start

    name = os.environ["PROOFING_TEST_SCREEN"]
    nowhere = st.Page(lambda: None, title="Elsewhere", url_path="elsewhere")
    begin = st.Page(lambda: start.show(nowhere), title="Start", url_path="start", default=name == "start")
    shown = {"board": lambda: board.show(nowhere, begin), "batch": lambda: batch.show(nowhere, begin)}
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


@pytest.mark.parametrize("name", ["board", "batch"])
def test_where_no_dough_is_proofing_one_touch_leads_to_begin_one(name, shown) -> None:
    (link,) = shown(name).get("page_link")
    assert (link.proto.label, link.proto.page) == ("Start a batch", "start")


def test_start_says_what_a_node_cannot_see_in_a_vessel_that_was_never_tared(tmp_path, shown) -> None:
    fill(tmp_path)
    app = shown("start")
    app.selectbox(key="vessel").set_value("long tray").run()
    assert NOT_ZEROED in words(app)
    app.selectbox(key="node").set_value(BY_EYE).run()
    assert NOT_ZEROED not in words(app)
