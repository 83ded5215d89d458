"""The screen that lays batches over each other, as Streamlit runs it: nothing, one, many, hostile, by address."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from grammar import check_shown
from sample_bakery import HOSTILE_NAME, NOW, ROUND_TUB, batch, minutes
from sample_weeks import RECIPE, fill_weeks
from streamlit.testing.v1 import AppTest

from dashboard.compare import selection
from dashboard.compare.charts import STYLES
from dashboard.drawing.palette import DAY, NIGHT, SHAPE_CONTRAST, Palette, contrast
from monitor.recipe.batch import BatchId, Event, EventKind, Stage
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.store.store import Store


def _screen() -> None:
    from dashboard.compare import screen as compare

    compare.show()


@pytest.fixture(scope="module")
def kept_weeks(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, BatchId]]:
    folder = tmp_path_factory.mktemp("weeks")
    return folder, fill_weeks(folder)


@pytest.fixture
def weeks(kept_weeks: tuple[Path, dict[str, BatchId]], nothing: Path) -> dict[str, BatchId]:
    folder, ids = kept_weeks
    shutil.copy(folder / DATABASE_NAME, nothing / DATABASE_NAME)
    return ids


@pytest.fixture
def nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    (tmp_path / CONFIG_NAME).write_text('timezone = "UTC"\n')
    return tmp_path


Runs = Callable[..., AppTest]


@pytest.fixture
def shown() -> Runs:
    def run(**address: str) -> AppTest:
        app = AppTest.from_function(_screen, default_timeout=30)
        for key, value in address.items():
            app.query_params[key] = value
        app.run()
        assert not app.exception, app.exception
        check_shown(app)
        return app

    return run


def words(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


def alts(app: AppTest) -> list[str]:
    return [element.proto.alt for element in app.get("vega_lite_chart")]


def add_finished(folder: Path, *names: str) -> None:
    with Store(folder / DATABASE_NAME) as store:
        for number, name in enumerate(names):
            ended_at = NOW - minutes(30 + 60 * number)
            events = (Event(ended_at, EventKind.END),)
            made = batch(name, Stage.FIRST_RISE, 400, ROUND_TUB, events=events, ended_at=ended_at)
            store.batches.add(replace(made, started_at=made.started_at - minutes(number)))


def test_without_anything_finished_it_says_what_it_takes(nothing: Path, shown: Runs) -> None:
    app = shown()
    assert "Nothing to compare yet" in words(app)
    assert "Nothing is finished so far" in words(app)
    assert not app.selectbox


def test_one_batch_alone_is_named_and_what_is_missing(nothing: Path, shown: Runs) -> None:
    add_finished(nothing, f"{HOSTILE_NAME}, tub 1")
    said = words(shown())
    assert "It takes two finished batches of one recipe" in said
    assert "Finished once so far: &lt;img src=x onerror=alert(1)&gt; (first rise)" in said
    assert HOSTILE_NAME not in said


def test_batches_of_which_nothing_was_ever_estimated_are_a_table_without_curves(nothing: Path, shown: Runs) -> None:
    add_finished(nothing, "Rye, tub 1", "Rye, tub 2")
    app = shown()
    assert alts(app) == []
    assert "not by its end" in words(app)
    assert "No dough of this recipe was measured" in words(app)
    assert "2 had no forecast by then" in words(app)


def test_the_newest_six_of_the_recipe_made_last_are_laid_over_each_other(
    weeks: dict[str, BatchId], shown: Runs
) -> None:
    app = shown()
    said = words(app)
    assert f"{RECIPE}, first rise" in said
    assert "12 finished batches beside each other" in said
    assert app.pills[0].value == [12, 11, 10, 9, 8, 7]
    overlay, trend, warmth, kept = alts(app)
    assert "the rise of 6 batches from their start, by the clock. 28 Feb ready after 2 h 14 min" in overlay
    assert "5 Feb not ready by its end" in overlay
    assert "as if all at 25 °C no change that could be told from chance" in trend
    assert warmth.startswith("Mean temperature of each dough")
    assert "of 11 batches, 10 were ready within what was said. Outside: 1 later." in kept
    assert "31 Jan water 62 % → 67 %" in said
    assert "right: a new sack of flour" in said


def test_a_hostile_name_and_note_stay_text(weeks: dict[str, BatchId], shown: Runs) -> None:
    said = words(shown())
    assert HOSTILE_NAME not in said
    assert "&lt;img src=x onerror=alert(1)&gt;" in said


def test_as_if_all_were_equally_warm_is_said_in_words(weeks: dict[str, BatchId], shown: Runs) -> None:
    unmeasured, by_air = weeks["weeks 5"], weeks["weeks 3"]
    app = shown(recipe="hawthorn buns", stage="first rise", batches=f"12,{unmeasured},{by_air}", time="even")
    said = words(app)
    assert "Every dough as if it had been at 25 °C throughout" in said
    assert "Worked out from the air, without a probe: 14 Jan" in said
    assert "nobody knows how warm it was: 25 Jan" in said
    assert "as if all at 25 °C. 28 Feb ready after 2 h 2 min; 25 Jan not known" in alts(app)[0]


def test_degrees_are_the_bakers(weeks: dict[str, BatchId], nothing: Path, shown: Runs) -> None:
    (nothing / CONFIG_NAME).write_text('timezone = "UTC"\ntemp_unit = "F"\n')
    app = shown(time="even")
    assert "as if it had been at 76 °F" in words(app) or "as if it had been at 77 °F" in words(app)
    assert "°C" not in words(app)


def test_the_address_follows_the_choice_and_shows_the_same_again(weeks: dict[str, BatchId], shown: Runs) -> None:
    app = shown(batch="2")
    assert app.query_params["batches"] == "12,11,10,9,8,2"
    app.pills[0].set_value([12, 2]).run()
    app.radio[0].set_value("even").run()
    address = dict(app.query_params)
    assert address == {"recipe": "hawthorn buns", "stage": "first rise", "batches": "12,2", "time": "even"}
    again = shown(**address)
    assert again.pills[0].value == [12, 2]
    assert alts(again) == alts(app)


def test_an_address_opened_while_the_screen_is_open_counts(weeks: dict[str, BatchId], shown: Runs) -> None:
    app = shown(batches="12,11")
    app.pills[0].set_value([12]).run()
    app.query_params["batches"] = "5,4,3"
    app.run()
    assert app.pills[0].value == [5, 4, 3]


def test_a_seventh_is_not_taken(weeks: dict[str, BatchId], shown: Runs) -> None:
    app = shown()
    app.pills[0].set_value([12, 11, 10, 9, 8, 7, 6]).run()
    assert app.pills[0].value == [12, 11, 10, 9, 8, 7]
    assert "6 at most can be told apart" in app.toast[0].value


def test_with_none_chosen_the_weeks_remain(weeks: dict[str, BatchId], shown: Runs) -> None:
    app = shown()
    app.pills[0].set_value([]).run()
    assert not app.exception
    assert "Choose the batches to lay over each other" in words(app)
    assert len(alts(app)) == 3


def test_another_recipe_is_a_choice_away(weeks: dict[str, BatchId], nothing: Path, shown: Runs) -> None:
    add_finished(nothing, "Rye, tub 1", "Rye, tub 2")
    app = shown(recipe="hawthorn buns", stage="first rise")
    app.selectbox[0].set_value(("rye", "first rise")).run()
    assert "Rye, first rise" in words(app)
    assert app.query_params["recipe"] == "rye"


def test_an_address_of_a_recipe_finished_once_says_so_and_offers_the_others(
    weeks: dict[str, BatchId], nothing: Path, shown: Runs
) -> None:
    add_finished(nothing, "Rye, tub 1")
    app = shown(recipe="rye", stage="first rise")
    assert "Not finished twice yet" in words(app)
    assert "Finished once so far: Rye (first rise)" in words(app)
    assert app.selectbox[0].value is None
    app.selectbox[0].set_value(("hawthorn buns", "first rise")).run()
    assert len(alts(app)) == 4
    assert "Finished once so far" not in words(app)


def test_a_store_that_cannot_be_read_is_said_in_words(nothing: Path, shown: Runs) -> None:
    (nothing / DATABASE_NAME).write_text("this is no database, " * 100)
    assert "The store does not answer" in words(shown())


def test_lines_are_told_apart_by_colour_and_by_dash() -> None:
    assert len(STYLES) == selection.MOST_TOLD_APART
    assert len({style.dash for style in STYLES}) == len({style.colour for style in STYLES}) == len(STYLES)
    assert all(STYLES[0].width_px > style.width_px + 1.0 for style in STYLES[1:])  # the newest stands out


@pytest.mark.parametrize("palette", [DAY, NIGHT], ids=["day", "night"])
def test_every_line_stands_out_from_its_ground(palette: Palette) -> None:
    for style in STYLES:
        assert contrast(getattr(palette, style.colour), palette.paper) >= SHAPE_CONTRAST


def test_every_batch_has_its_line_sample_and_a_link_to_how_it_went(weeks: dict[str, BatchId], shown: Runs) -> None:
    said = words(shown())
    assert said.count('class="mark line"') == 6
    assert f'href="./review?batch={weeks["weeks"]}"' in said
