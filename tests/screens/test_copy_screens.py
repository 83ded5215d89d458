"""On a copy of another site's store nothing stands that would only refuse: one sentence says where it is noted."""

import shutil
from pathlib import Path

import pytest
from sample_bakery import fill
from streamlit.testing.v1 import AppTest

from monitor.recipe.batch import BatchId
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.store.store import Store

SAID = "A copy to look at: what is done is noted at its own site."
WIDGETS = ("button", "text_input", "text_area", "number_input", "checkbox", "radio", "time_input", "file_uploader")


def _screen() -> None:
    """One screen of the app, with the others behind it."""
    import os

    import streamlit as st

    from dashboard.board import screen as board
    from dashboard.plan import screen as plan
    from dashboard.review import screen as review
    from dashboard.start import screen as start

    name = os.environ["PROOFING_TEST_SCREEN"]
    other_page = st.Page(lambda: None, title="o", url_path="o")
    review_page = st.Page(
        lambda: review.show(review_page, other_page), title="f", url_path="f", default=name == "review"
    )
    draws = {"board": lambda: board.show(other_page, other_page, other_page), "plan": plan.show}
    draws["start"] = lambda: start.show(other_page)
    pages = [st.Page(draw, title=key, url_path=key, default=name == key) for key, draw in draws.items()]
    st.navigation([other_page, review_page, *pages], position="hidden").run()


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, BatchId]]:
    folder = tmp_path_factory.mktemp("morning")
    return folder, fill(folder)


def opened(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch, batch_id: BatchId | None = None) -> AppTest:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    monkeypatch.setenv("PROOFING_TEST_SCREEN", name)
    monkeypatch.setattr("sys.argv", ["app.py"])
    app = AppTest.from_function(_screen, default_timeout=60)
    if batch_id is not None:
        app.query_params["batch"] = str(batch_id)
    app.run()
    assert not app.exception, app.exception
    return app


def offered(app: AppTest) -> list[str]:
    """What somebody could touch or type, and so note; a form's button among them."""
    return [str(element.label) for kind in WIDGETS for element in app.get(kind)]


def said(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


@pytest.mark.parametrize("name", ["start", "review", "plan"])
def test_a_screen_offers_on_a_copy_nothing_to_note(name, kept, tmp_path, monkeypatch) -> None:
    folder, ids = kept
    path = copy_of(tmp_path, "rye-street")
    path.parent.mkdir(parents=True)
    shutil.copy(folder / DATABASE_NAME, path)
    shutil.copytree(folder / "recipes", path.parent / "recipes")
    asked = ids["over"] if name == "review" else None
    own = opened(name, folder, monkeypatch, asked)
    assert offered(own)
    assert SAID not in said(own)
    copied = opened(name, tmp_path, monkeypatch, asked)
    assert offered(copied) == []
    assert said(copied).count(SAID) == 1


def test_a_copy_without_doughs_and_plans_does_not_lead_to_a_beginning(tmp_path, monkeypatch) -> None:
    path = copy_of(tmp_path, "rye-street")
    path.parent.mkdir(parents=True)
    Store(tmp_path / "shop" / DATABASE_NAME).close()
    shutil.copy(tmp_path / "shop" / DATABASE_NAME, path)
    board = opened("board", tmp_path, monkeypatch)
    assert "No dough is proofing" in said(board)
    assert not board.get("page_link")
    assert "proofing-monitor batch start" not in said(board)
    assert "proofing-monitor plan make" not in said(opened("plan", tmp_path, monkeypatch))
