"""Start: a batch begun by a recipe of the folder."""

import time
from pathlib import Path

import made_up_day as made_up
import pytest
from streamlit.testing.v1 import AppTest

from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def _screen() -> None:
    import streamlit as st

    from dashboard.start import screen as start

    batch_page = st.Page(lambda: None, title="Batch", url_path="batch")
    st.navigation([st.Page(lambda: start.show(batch_page), title="Start", default=True), batch_page]).run()


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A data directory with a recipe."""
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes" / "tamarack.toml").write_text(made_up.COLD_PREFERMENT_DAY)
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield tmp_path
    monkeypatch.undo()
    time.tzset()


def shown() -> AppTest:
    app = AppTest.from_function(_screen, default_timeout=30).run()
    assert not app.exception, app.exception
    return app


def begun(folder: Path, like: str) -> tuple[Batch, float]:
    """The batch that one touch begins by a recipe's stage, and how warm it is meant to be."""
    app = shown()
    app.selectbox(key="like").set_value(like).run()
    app.button(key="go").click().run()
    assert not app.exception, app.exception
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
        intent = store.reviews.intent(batch.id)
    assert intent is not None
    return batch, intent.dough_temp_c


def test_a_first_rise_begins_by_its_recipe_with_formula_band_and_warmth(folder: Path) -> None:
    batch, dough_c = begun(folder, "Tamarack loaf: dough, first rise")
    assert (batch.name, batch.recipe, batch.stage) == ("Tamarack loaf", "Tamarack loaf", Stage.FIRST_RISE)
    assert batch.target.rise_pct == 75.0
    assert batch.formula is not None
    assert batch.formula.flour_g == pytest.approx(1000.0, abs=1.0)  # the preferment's flour counts
    assert dough_c == 27.0
    assert batch.preheat_min is None


def test_a_final_proof_calls_for_the_oven_as_early_as_its_recipe_heats_it(folder: Path) -> None:
    path = folder / "recipes" / "tamarack.toml"
    path.write_text(path.read_text().replace("preheat_min = 30", "preheat_min = 45"))
    batch, _ = begun(folder, "Tamarack loaf: dough, final proof")
    assert batch.preheat_min == 45.0


def test_a_stage_in_the_refrigerator_begins_as_a_retard(folder: Path) -> None:
    batch, dough_c = begun(folder, "Tamarack loaf: cold preferment, preferment")
    assert (batch.stage, batch.target.is_peak, dough_c) == (Stage.RETARD, True, 21.0)


def test_hours_in_the_cold_at_first_are_noted(folder: Path) -> None:
    path = folder / "recipes" / "tamarack.toml"
    cold_first = made_up.COLD_PREFERMENT_DAY.replace("takes = 2", "takes = 2\ncold_h = 8")
    path.write_text(cold_first)
    batch, _ = begun(folder, "Tamarack loaf: dough, final proof")
    assert [(event.kind, event.note) for event in batch.events] == [(EventKind.MOVE, "refrigerator")]


def test_a_recipe_without_stages_offers_its_first_rise(folder: Path) -> None:
    formula_only = made_up.COLD_PREFERMENT_DAY.split("[[stage]]")[0]
    (folder / "recipes" / "tamarack.toml").write_text(formula_only)
    batch, _ = begun(folder, "Tamarack loaf: dough, first rise")
    assert batch.formula is not None


def test_a_vessel_nobody_measured_is_not_offered(folder: Path) -> None:
    app = shown()
    app.selectbox(key="like").set_value("Tamarack loaf: dough, first rise").run()
    assert [name for name in app.selectbox(key="vessel").options if "Tamarack" in name] == []


def test_a_recipe_that_cannot_be_read_is_named_and_the_others_stay(folder: Path) -> None:
    (folder / "recipes" / "a-broken.toml").write_text("name = 3")
    app = shown()
    assert "a-broken.toml" in "\n".join(str(element.proto.body) for element in app.get("html"))
    assert "Tamarack loaf: dough, first rise" in app.selectbox(key="like").options
