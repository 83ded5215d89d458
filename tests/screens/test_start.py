"""Start: a batch begun by a recipe of the folder, in two touches, and changed line by line."""

import time
from pathlib import Path

import made_up_day as made_up
import pytest
from streamlit.testing.v1 import AppTest

from monitor.recipe.batch import Batch, EventKind, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

PREFERMENT, FIRST_RISE, FINAL_PROOF = (f"Tamarack loaf/{stage}" for stage in range(3))


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


def choose(app: AppTest, like: str) -> AppTest:
    app.button(key=f"choose-doughs-{like}").click().run()
    assert not app.exception, app.exception
    return app


def words(app: AppTest) -> str:
    return " ".join(str(element.proto.body) for element in app.get("html"))


def begun(folder: Path, like: str) -> tuple[Batch, float]:
    """The batch that two touches begin by a recipe's stage, and how warm it is meant to be."""
    app = choose(shown(), like)
    app.button(key="go").click().run()
    assert not app.exception, app.exception
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
        intent = store.reviews.intent(batch.id)
    assert intent is not None
    return batch, intent.dough_temp_c


def test_a_first_rise_begins_by_its_recipe_with_formula_band_and_warmth(folder: Path) -> None:
    batch, dough_c = begun(folder, FIRST_RISE)
    assert (batch.name, batch.recipe, batch.stage) == ("Tamarack loaf", "Tamarack loaf", Stage.FIRST_RISE)
    assert batch.target.rise_pct == 75.0
    assert batch.formula is not None
    assert batch.formula.flour_g == pytest.approx(1000.0, abs=1.0)  # the preferment's flour counts
    assert dough_c == 27.0
    assert batch.preheat_min is None


def test_a_final_proof_calls_for_the_oven_as_early_as_its_recipe_heats_it(folder: Path) -> None:
    path = folder / "recipes" / "tamarack.toml"
    path.write_text(path.read_text().replace("preheat_min = 30", "preheat_min = 45"))
    batch, _ = begun(folder, FINAL_PROOF)
    assert batch.preheat_min == 45.0


def test_a_stage_in_the_refrigerator_begins_as_a_retard(folder: Path) -> None:
    batch, dough_c = begun(folder, PREFERMENT)
    assert (batch.stage, batch.target.is_peak, dough_c) == (Stage.RETARD, True, 21.0)


def test_hours_in_the_cold_at_first_are_noted(folder: Path) -> None:
    path = folder / "recipes" / "tamarack.toml"
    cold_first = made_up.COLD_PREFERMENT_DAY.replace("takes = 2", "takes = 2\ncold_h = 8")
    path.write_text(cold_first)
    batch, _ = begun(folder, FINAL_PROOF)
    assert [(event.kind, event.note) for event in batch.events] == [(EventKind.MOVE, "refrigerator")]


def test_where_it_stands_and_that_it_is_covered_are_noted_from_its_start(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    app.button(key="open-place").click().run()
    app.selectbox(key="edit-place").set_value("proofer")
    app.checkbox(key="edit-covered").check().run()
    app.button(key="go").click().run()
    assert not app.exception
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
    assert [(event.at, event.kind, event.note) for event in batch.events] == [
        (batch.started_at, EventKind.MOVE, "proofer"),
        (batch.started_at, EventKind.COVER, ""),
    ]


def test_a_recipe_without_stages_offers_its_first_rise(folder: Path) -> None:
    formula_only = made_up.COLD_PREFERMENT_DAY.split("[[stage]]")[0]
    (folder / "recipes" / "tamarack.toml").write_text(formula_only)
    batch, _ = begun(folder, "Tamarack loaf/0")
    assert batch.formula is not None


def test_a_vessel_nobody_measured_is_not_offered(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    app.button(key="open-vessel").click().run()
    assert "as Tamarack" not in words(app)
    assert "round tub, 6 litres" in words(app)


def test_a_recipe_that_cannot_be_read_is_named_and_the_others_stay(folder: Path) -> None:
    (folder / "recipes" / "a-broken.toml").write_text("name = 3")
    app = shown()
    assert "a-broken.toml" in words(app)
    choose(app, FIRST_RISE)


def test_one_line_is_open_at_a_time_and_what_it_changes_stays(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    app.button(key="open-name").click().run()
    app.text_input(key="edit-name").set_value("Sunday loaf").run()
    app.button(key="open-target").click().run()
    assert not app.text_input
    app.button(key="band 5").click().run()
    app.button(key="open-target").click().run()
    assert "Sunday loaf" in words(app)
    assert "80 % risen" in words(app)
    app.button(key="go").click().run()
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
    assert (batch.name, batch.target.rise_pct, batch.recipe) == ("Sunday loaf", 80.0, "Tamarack loaf")


def test_without_a_name_begin_is_grey_and_says_why(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    assert not app.button(key="go").disabled
    app.button(key="open-name").click().run()
    app.text_input(key="edit-name").set_value("  ").run()
    assert app.button(key="go").disabled
    assert "Give it a name first." in words(app)


def test_the_last_dough_comes_first_with_its_warmth_and_a_name_that_is_free(folder: Path) -> None:
    begun(folder, FIRST_RISE)
    app = shown()
    keys = [button.key for button in app.button if button.key.startswith("choose-doughs-")]
    assert keys == ["choose-doughs-1", f"choose-doughs-{PREFERMENT}", f"choose-doughs-{FINAL_PROOF}",
                    f"choose-doughs-{FIRST_RISE}", "choose-doughs-Something new"]  # fmt: skip
    choose(app, "1")
    assert "Tamarack loaf, 2" in words(app)
    assert "meant to be 27.0 °C" in words(app)


def test_something_new_has_a_name_proposed_and_is_watched_by_eye(folder: Path) -> None:
    app = choose(shown(), "Something new")
    assert "Dough of " in words(app)
    assert "Where is the dough now?" in words(app)
    assert not app.button(key="go").disabled


def test_begin_is_taken_back_within_twenty_seconds(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    app.button(key="go").click().run()
    offered = app.session_state["can be undone"]
    assert offered.words.startswith("Begun: Tamarack loaf")
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
        store.batches.take_back(*offered.take_back.args, batch.started_at)
        assert store.batches.all() == []


def test_a_batch_begun_by_a_recipe_has_its_folds_and_what_does_not_keep(folder: Path) -> None:
    written = made_up.COLD_PREFERMENT_DAY.replace('salt = "20 g"', 'salt = "20 g"\nmilk = "50 g"')
    written = written.replace("dough_c = 27", 'dough_c = 27\n[[stage.step]]\ndo = "fold"\nafter_min = [30, 60]')
    (folder / "recipes" / "tamarack.toml").write_text(written)
    batch, _ = begun(folder, FIRST_RISE)
    assert (batch.folds_min, batch.perishable) == ((30.0, 60.0), ("milk",))


def test_a_batch_without_a_recipe_may_be_said_to_hold_egg_or_milk(folder: Path) -> None:
    app = choose(shown(), FIRST_RISE)
    app.button(key="open-name").click().run()
    (perishes,) = [box for box in app.checkbox if box.label == "egg, milk or the like in it"]
    assert not perishes.value
    perishes.check().run()
    app.button(key="go").click().run()
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.all()
    assert batch.perishable == ("egg, milk or the like",)
