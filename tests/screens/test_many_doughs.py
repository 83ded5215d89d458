"""The board of one dough, of thirty and of a hundred: each stands on it once, and more than eight are rows."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sample_bakery import NOW, fill
from streamlit.testing.v1 import AppTest

from dashboard.board.screen import MOST_CARDS
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def _screen() -> None:
    import streamlit as st

    from dashboard.board import screen as board

    other = st.Page(lambda: None, title="o", url_path="o")
    here = st.Page(lambda: board.show(other, other, other), title="b", url_path="b", default=True)
    st.navigation([here, other], position="hidden").run()


def let_run(folder: Path, n: int) -> list[str]:
    """A morning with so many running doughs, called by their numbers."""
    like = fill(folder)["rising"]
    with Store(folder / DATABASE_NAME) as store:
        first, outlook = store.batches.get(like), store.outlooks.latest(like)
        for batch in store.batches.running():
            store.batches.add_event(batch.id, Event(NOW, EventKind.END))
        names = [f"Larch {number:03}" for number in range(1, n + 1)]
        for number, name in enumerate(names):
            at = first.started_at - timedelta(minutes=number)
            batch = replace(first, id=BatchId(0), name=name, started_at=at, events=())
            added = store.batches.add(batch)
            assert outlook is not None
            store.save_step(added.id, outlook, [], [])
    return names


@pytest.mark.parametrize("n", [1, 30, 100])
def test_every_dough_stands_on_the_board_once(n: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = let_run(tmp_path, n)
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    app = AppTest.from_function(_screen, default_timeout=120).run()
    assert not app.exception, app.exception
    text = "\n".join(str(element.proto.body) for element in app.get("html"))
    kind = 'class="name">{}' if n <= MOST_CARDS else "<b>{}</b>"
    assert [text.count(kind.format(name)) for name in names] == [1] * n
    assert (text.count('<ul class="dense">') > 0) == (n > MOST_CARDS)
    assert len([each for each in app.get("page_link") if "batch" in str(each.proto.query_string)]) <= MOST_CARDS
