"""Formula: how much a piece is to weigh is asked in the reader's own unit, and the recipe follows it."""

import re
from pathlib import Path

import made_up_day as made_up
import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import NumberInput

from dashboard.access import preferences
from monitor.settings.data_dir import CONFIG_NAME
from monitor.units import ounces

LONGEST_FIGURE = len("1 lb 12.34 oz")
RECIPE = made_up.recipe(made_up.COLD_PREFERMENT_DAY)


def _screen() -> None:
    from dashboard.formula import screen as formula

    formula.show()


def shown(folder: Path, monkeypatch: pytest.MonkeyPatch, mass_unit: str) -> AppTest:
    (folder / "recipes").mkdir()
    (folder / "recipes" / "tamarack.toml").write_text(made_up.COLD_PREFERMENT_DAY)
    (folder / CONFIG_NAME).write_text(f'timezone = "UTC"\nmass_unit = "{mass_unit}"\n')
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    preferences.settings.clear()
    app = AppTest.from_function(_screen, default_timeout=30).run()
    assert not app.exception, app.exception
    return app


def weight(app: AppTest) -> NumberInput:
    return next(each for each in app.number_input if each.label.startswith("Weight of each"))


def body(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


def total_g(app: AppTest) -> float:
    """The weight of all the dough, in grams as the heading of its part says it in the unit that is not the reader's."""
    (said,) = re.findall(r'<h2 class="section">dough, ([^<]*)</h2>', body(app))
    number, unit = re.search(r"([\d.]+) (k?g)\b", said).groups()
    return float(number) * (1000 if unit == "kg" else 1)


@pytest.mark.parametrize(("unit", "usual"), [("g", RECIPE.each_g), ("oz", ounces(RECIPE.each_g))])
def test_a_piece_is_weighed_in_the_readers_unit(
    unit: str, usual: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(tmp_path, monkeypatch, unit)
    assert weight(app).label == f"Weight of each, {unit}"
    assert weight(app).value == pytest.approx(usual, abs=0.5 if unit == "g" else 0.005)
    figures = re.findall(r'<td class="n[^"]*">([^<]*)</td>', body(app))
    assert max(map(len, figures)) <= LONGEST_FIGURE, "they are not broken, and a phone is narrow"
    before_g = total_g(app)
    assert before_g == pytest.approx(RECIPE.dough.mass_g, abs=5.0)
    weight(app).set_value(2 * weight(app).value).run()
    assert total_g(app) == pytest.approx(2 * before_g, rel=0.01)


def test_more_pieces_leave_the_weight_of_each_as_the_recipe_has_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(tmp_path, monkeypatch, "oz")
    before_g = total_g(app)
    pieces = next(each for each in app.number_input if each.label == "Pieces")
    pieces.set_value(4 * pieces.value).run()
    assert total_g(app) == pytest.approx(4 * before_g, rel=0.004)
    assert weight(app).value == pytest.approx(ounces(RECIPE.each_g), abs=0.005)


def words(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


def test_the_water_follows_the_temperatures_that_are_typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    usual_c = _water_c(app)
    _typed(app, "Preferment, °C").set_value(20.0).run()
    assert _water_c(app) < usual_c - 5.0, "it comes from the refrigerator"
    _typed(app, "Flour, °C").set_value(5.0).run()
    _typed(app, "Preferment, °C").set_value(4.0).run()
    assert "water would have to be hotter than 43.0 °C" in words(app)


def _typed(app: AppTest, label: str) -> NumberInput:
    return next(each for each in app.number_input if each.label == label)


def _water_c(app: AppTest) -> float:
    (found,) = re.findall(r"water: 410 g at ([\d.]+) °C", words(app))
    return float(found)


def test_a_baked_weight_takes_more_dough(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    before_g = total_g(app)
    app.toggle[0].set_value(True).run()
    loss = RECIPE.bake_loss_pct / 100.0
    assert total_g(app) == pytest.approx(before_g / (1.0 - loss), rel=0.02)


def test_what_each_name_was_taken_for_is_on_the_screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    assert "Taken for" in words(app)
    assert "Total formula" in words(app)


def test_the_method_is_on_the_screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    assert "Method" in words(app)
    assert "final proof until" in words(app)


def press(app: AppTest, label: str) -> None:
    next(each for each in app.button if each.label == label).click().run()
    assert not app.exception, app.exception


def names(folder: Path) -> set[str]:
    return {path.name for path in (folder / "recipes").glob("*.toml")}


def test_a_pasted_recipe_tells_its_faults_at_their_lines_and_is_then_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    text = made_up.COLD_PREFERMENT_DAY.replace("Tamarack loaf", "Larch <b>loaf")
    wrong = re.sub(r"oven_c = .*", "oven_c = 9000", text)
    app.text_area(key="recipe-text").set_value(wrong)
    app.button(key="keep-recipe").click().run()
    line = wrong.splitlines().index("oven_c = 9000") + 1
    assert f"Line {line}: <code>oven_c = 9000</code>" in words(app)
    assert names(tmp_path) == {"tamarack.toml"}
    app.text_area(key="recipe-text").set_value(text)
    app.button(key="keep-recipe").click().run()
    assert names(tmp_path) == {"tamarack.toml", "larch-b-loaf.toml"}
    assert "<code>" not in words(app)
    assert next(each for each in app.selectbox if each.label == "Recipe").value.stem == "larch-b-loaf"
    app.session_state["can be undone"].take_back()
    app.run()
    assert not app.exception, app.exception
    assert names(tmp_path) == {"tamarack.toml"}


@pytest.mark.parametrize(
    ("data", "said"), [(made_up.COLD_PREFERMENT_DAY.encode(), ""), (b"\xff\xfe loaf", "is no text in UTF-8")]
)
def test_an_uploaded_recipe_becomes_the_text_to_be_looked_at(
    data: bytes, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    app.file_uploader(key="recipe-upload").set_value(("larch.toml", data, "text/plain")).run()
    assert not app.exception, app.exception
    assert (app.text_area(key="recipe-text").value or "") == ("" if said else data.decode())
    assert said in words(app)
    assert names(tmp_path) == {"tamarack.toml"}


def test_a_recipe_is_written_in_a_form(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, "g")
    app.text_input(key="form-name").set_value("Oat tins")
    app.text_area(key="form-lines").set_value("500 g strong white flour\nsome water\n10 g salt")
    press(app, "Keep this recipe")
    assert "&#x27;some water&#x27; has no amount" in words(app)
    app.text_area(key="form-lines").set_value("500 g strong white flour\n350 g water\n10 g salt\n3 g instant yeast")
    press(app, "Keep this recipe")
    assert "oat-tins.toml" in names(tmp_path)
    press(app, "Keep this recipe")
    assert "is there already" in app.toast[0].value
