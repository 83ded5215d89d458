"""The example day: it fills every screen, takes nothing, and is never mixed with a baker's own doughs."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from monitor.demo import example
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

MOST_BYTES = 300_000
SHOWN = "looks at the example"


def _screen() -> None:
    import os
    from datetime import UTC

    import streamlit as st

    from dashboard.access import example
    from dashboard.batch import screen as batch
    from dashboard.board import screen as board
    from dashboard.compare import screen as compare
    from dashboard.formula import screen as formula
    from dashboard.plan import screen as plan
    from dashboard.review import screen as review
    from dashboard.start import screen as start
    from monitor.wording.reader import Reader

    name = os.environ["PROOFING_TEST_SCREEN"]
    other = st.Page(lambda: None, title="Other", url_path="other")
    draws = {
        "board": lambda: board.show(other, other, other),
        "batch": lambda: batch.show(other, other),
        "start": lambda: start.show(other),
        "plan": plan.show,
        "formula": formula.show,
        "review": lambda: review.show(other, other),
        "compare": compare.show,
    }
    example.show_mark(Reader(UTC))
    st.navigation([st.Page(draws[name], title=name, url_path=name, default=True), other], position="hidden").run()


def shown(name: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    monkeypatch.setenv("PROOFING_TEST_SCREEN", name)
    app = AppTest.from_function(_screen, default_timeout=60)
    app.session_state[SHOWN] = True
    app.run()
    assert not app.exception, app.exception
    return app


def words(app: AppTest) -> str:
    return " ".join(str(element.proto.body) for element in app.get("html"))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("board", "Milk rolls by the oven"),
        ("batch", "Country loaf, tub 3"),
        ("plan", "Seeded tins"),
        ("formula", "strong white flour"),
        ("review", "Sandwich dough, tub 1"),
        ("compare", "Country loaf"),
        ("start", "An example to look at"),
    ],
)
def test_every_screen_has_something_to_show_and_says_that_it_is_an_example(name, said, tmp_path, monkeypatch) -> None:
    app = shown(name, tmp_path, monkeypatch)
    assert said in words(app)
    assert "This is an example." in words(app)
    assert not (tmp_path / DATABASE_NAME).exists()


def test_what_is_done_in_it_is_refused_in_words(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))

    def note() -> None:
        from dashboard import actions
        from monitor.recipe.batch import BatchId, EventKind

        actions.add_event(BatchId(5), EventKind.FOLD)

    app = AppTest.from_function(note, default_timeout=60)
    app.session_state[SHOWN] = True
    app.run()
    assert "This is an example: nothing is noted in it" in app.toast[0].value


def test_it_weighs_little_and_every_copy_is_of_its_own(tmp_path: Path) -> None:
    assert example.STORE.stat().st_size < MOST_BYTES
    example.unpack(tmp_path)
    with Store(tmp_path / DATABASE_NAME) as store:
        assert len(store.batches.ended()) >= 6
        assert store.plans.open()
    with Store(example.folder() / DATABASE_NAME) as store:
        assert store.is_copy
