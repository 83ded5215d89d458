"""The screens of the planned day: shown as the doughs have it, begun and ticked off with a tap, made in a form."""

import os
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path

import made_up_day as made_up
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.drawing.palette import DAY, Palette
from dashboard.plan import drawings, moving, pictures
from dashboard.plan.oven_line import turns
from dashboard.plan.steps import countdown_words
from monitor.clock import wall_clock
from monitor.collector.plan_runner import LivePlan, StageForecasts, live_plan, start_next
from monitor.plan.day import Plan, PlanId
from monitor.plan.live import Progress
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wording.reader import Reader

HOSTILE = "<img src=x onerror=alert(1)>"


def _screen() -> None:
    """The app's navigation with one screen as its first."""
    import os

    import streamlit as st

    from dashboard.formula import screen as formula
    from dashboard.plan import screen as plan

    name = os.environ["PROOFING_TEST_SCREEN"]
    pages = {"plan": plan.show, "formula": formula.show}
    st.navigation(
        [st.Page(draw, title=key, url_path=key, default=key == name) for key, draw in pages.items()], position="hidden"
    ).run()


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A data directory with a recipe."""
    (tmp_path / "recipes").mkdir()
    (tmp_path / "recipes" / "tamarack.toml").write_text(made_up.COLD_PREFERMENT_DAY)
    return tmp_path


def planned(folder: Path, name: str = "Tamarack loaf") -> Plan:
    """A plan from now on, kept."""
    recipe = made_up.recipe(made_up.COLD_PREFERMENT_DAY.replace("Tamarack loaf", name))
    now = wall_clock()
    found = make_plan((Order(recipe, None),), made_up.KITCHEN, now, UTC)
    assert isinstance(found, Plan)
    with Store(folder / DATABASE_NAME) as store:
        return store.plans.add(found)


def begun_now(folder: Path) -> Plan:
    """A plan whose first stage has just begun."""
    plan = planned(folder)
    with Store(folder / DATABASE_NAME) as store:
        now = wall_clock()
        start_next(store, live_plan(store, plan, now, StageForecasts(store)), now, Reader(UTC))
    return plan


def shown(name: str) -> AppTest:
    os.environ["PROOFING_TEST_SCREEN"] = name
    app = AppTest.from_function(_screen, default_timeout=60)
    app.run()
    assert not app.exception, app.exception
    return app


def seen(folder: Path) -> tuple[LivePlan, datetime, Reader, Palette]:
    """What the day is drawn from."""
    with Store(folder / DATABASE_NAME) as store:
        (plan,) = store.plans.open()
        now = wall_clock()
        return live_plan(store, plan, now, StageForecasts(store)), now, Reader(UTC), DAY


def press(app: AppTest, label: str) -> None:
    """Tap a button by its words."""
    next(each for each in app.button if each.label == label).click().run()


def open_plans(folder: Path) -> list[PlanId]:
    with Store(folder / DATABASE_NAME) as store:
        return [plan.id for plan in store.plans.open()]


def words(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


def test_a_plan_is_shown_with_every_step(folder: Path):
    planned(folder)
    text = words(shown("plan"))
    for what in ("Tamarack loaf", "mix cold preferment", "divide and shape", "oven on", "load 2 of 2 out"):
        assert what in text
    assert "out of the oven" in text
    assert "is proofed" in text


def test_the_first_stage_is_begun_with_a_tap(folder: Path):
    plan = planned(folder)
    app = shown("plan")
    app.button[0].click().run()
    assert not app.exception
    with Store(folder / DATABASE_NAME) as store:
        (batch,) = store.batches.running()
        assert batch.name == "Tamarack loaf"
        assert len(store.plans.done(plan.id)) == 1
    assert "done" in words(app)


def test_a_plan_is_made_and_begun_with_two_clicks(folder: Path):
    app = shown("plan")
    app.selectbox[1].set_value("the day after")
    app.time_input[0].set_value(clock_time(20, 30))
    press(app, "Plan it")
    assert not app.exception
    assert "out of the oven" in words(app)
    with Store(folder / DATABASE_NAME) as store:
        assert len(store.plans.all()) == 1


def test_night_work_is_named_before_a_plan_is_kept(folder: Path):
    app = shown("plan")
    app.selectbox[1].set_value("the day after")
    app.time_input[0].set_value(clock_time(3, 30))
    press(app, "Plan it")
    assert not app.exception
    assert "night work: hands" in words(app)
    with Store(folder / DATABASE_NAME) as store:
        assert store.plans.all() == []
    press(app, "Keep this plan")
    assert not app.exception
    with Store(folder / DATABASE_NAME) as store:
        assert len(store.plans.all()) == 1


def test_an_hour_that_cannot_be_met_is_explained_on_the_screen(folder: Path):
    app = shown("plan")
    app.selectbox[1].set_value("tomorrow")
    app.time_input[0].set_value(clock_time(0, 5))
    press(app, "Plan it")
    assert "too little time" in words(app)


def test_the_same_bread_otherwise_stands_side_by_side(folder: Path):
    app = shown("plan")
    app.selectbox[1].set_value("the day after")
    app.time_input[0].set_value(clock_time(23, 30))
    press(app, "Otherwise, side by side")
    assert not app.exception
    for what in ("as written", "half the yeast", "twice the yeast", "room 3 °C colder", "in the refrigerator"):
        assert what in words(app)
    with Store(folder / DATABASE_NAME) as store:
        assert store.plans.all() == []


def test_a_step_hours_ahead_is_ticked_off_only_after_a_question(folder: Path):
    plan = begun_now(folder)
    app = shown("plan")
    quiet = [each for each in app.button if each.key.startswith("done-") and each.label.endswith(" …")]
    quiet[-1].click().run()
    assert app.button(key="begin-now")
    with Store(folder / DATABASE_NAME) as store:
        assert len(store.plans.done(plan.id)) == 1


def test_the_formula_is_shown_and_scaled(folder: Path):
    app = shown("formula")
    assert "750 g" in words(app)
    app.number_input[0].set_value(4).run()
    assert not app.exception
    assert "1500 g" in words(app)


def test_a_broken_recipe_is_explained_and_a_hostile_name_does_nothing(folder: Path):
    (folder / "recipes" / "a-broken.toml").write_text("name = 3")
    assert "must say what you call this recipe" in words(shown("formula"))
    planned(folder, name=HOSTILE)
    text = words(shown("plan"))
    assert HOSTILE not in text
    assert "&lt;img" in text


def test_what_has_moved_is_told_beside_its_time(folder: Path):
    plan = planned(folder)
    with Store(folder / DATABASE_NAME) as store:
        for _ in range(2):  # the dough is mixed at once, a day before its preferment is ripe
            now = wall_clock()
            start_next(store, live_plan(store, plan, now, StageForecasts(store)), now, Reader(UTC))
    text = words(shown("plan"))
    assert "min earlier than planned" in text
    assert "The first rise begins" in text  # why
    assert "min earlier</span>" in text


@pytest.mark.parametrize(("seconds", "text"), [(0.2, "0:00"), (59.6, "1:00"), (-125.0, "2:05"), (3599.0, "59:59")])
def test_a_countdown_reads_as_a_clock(seconds: float, text: str):
    assert countdown_words(seconds) == text


def test_the_picture_of_a_day_says_it_all_in_words():
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    now = datetime(2026, 3, 3, 5, tzinfo=UTC)
    svg = pictures.day_svg(LivePlan(found, found, Progress({}, {})), now, Reader(UTC), DAY)
    for what in ("preferment", "first rise", "Oven", ">Tuesday<", "Hands"):
        assert what in svg


def test_the_hours_reach_until_the_oven_is_off(folder: Path):
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    hours = drawings.hours_of(found, made_up.MORNING)
    assert hours.holds(found.doughs[0].out_at)
    assert hours.holds(found.doughs[0].stages[0].hands_at)


def test_the_oven_rises_to_its_heat_before_the_first_load_and_falls_after_the_last():
    found = make_plan((Order(made_up.recipe(), made_up.NOON),), made_up.KITCHEN, made_up.MORNING, UTC)
    assert isinstance(found, Plan)
    (dough,) = found.doughs
    bake = dough.recipe.bake
    assert bake is not None
    on, *_, off = turns(found, "")
    assert (on.from_c, on.to_c, on.at) == (20.0, bake.oven_c, dough.oven_on_at)
    assert on.there_at == dough.loads[0].in_at
    assert (off.at, off.to_c) == (dough.out_at, 20.0)
    assert on.c_at(on.at + (on.there_at - on.at) / 2) == pytest.approx((20.0 + bake.oven_c) / 2)


def test_of_several_breads_at_the_oven_each_row_names_its_own(folder: Path):
    recipes = [replace(made_up.recipe(), name=name) for name in ("First loaf", "Second loaf")]
    with Store(folder / DATABASE_NAME) as store:
        found = make_plan(tuple(Order(each, None) for each in recipes), made_up.KITCHEN, wall_clock(), UTC)
        assert isinstance(found, Plan)
        store.plans.add(found)
    text = words(shown("plan"))
    assert "First loaf: load 2 of 2 out" in text
    assert "Second loaf: load 2 of 2 out" in text
    assert "load 1, 2" not in text  # a load has one number in the whole day
    for number in range(1, 5):
        assert f">{number}</text>" in pictures.day_svg(*seen(folder))


def test_an_hour_is_nudged_seen_kept_and_taken_back(folder: Path):
    plan = planned(folder)
    app = shown("plan")
    press(app, "15 min later")
    assert not app.exception
    text = words(app)
    assert ">was</th>" in text
    assert open_plans(folder) == [plan.id]  # only seen yet
    press(app, "Keep it")
    (moved,) = open_plans(folder)
    assert moved != plan.id
    with Store(folder / DATABASE_NAME) as store:
        later = store.plans.get(moved).doughs[0].out_at - plan.doughs[0].out_at
    assert later == timedelta(minutes=15)
    app.session_state["can be undone"].take_back()
    assert open_plans(folder) == [plan.id]


def test_an_hour_that_cannot_be_is_refused_with_its_reason(folder: Path):
    planned(folder)
    app = shown("plan")
    press(app, "15 min earlier")
    assert "too little time" in words(app)
    assert "Keep it" not in [each.label for each in app.button]


def test_a_step_is_nudged_to_the_minute(folder: Path):
    plan = planned(folder)
    (dough,) = plan.doughs
    hour = moving.Hour(dough.key, 0)
    with Store(folder / DATABASE_NAME) as store:
        orders = moving.moved_orders(store, plan, hour, timedelta(minutes=15))
    found = make_plan(tuple(orders.values()), plan.kitchen, plan.made_at, UTC)
    assert isinstance(found, Plan)
    assert found.doughs[0].stages[0].hands_at == dough.stages[0].hands_at + timedelta(minutes=15)
    assert found.doughs[0].out_at > dough.out_at


def test_the_rest_of_a_plan_that_has_begun_is_nudged_and_what_was_done_stays(folder: Path):
    plan = begun_now(folder)
    with Store(folder / DATABASE_NAME) as store:
        (begun,) = store.plans.done(plan.id)
        batches = store.plans.batches_of(plan.id)
    app = shown("plan")
    assert not any("mix cold preferment" in str(each) for each in app.selectbox[0].options), "its hour is over"
    press(app, "15 min later")
    assert not app.exception
    press(app, "Keep it")
    (moved,) = open_plans(folder)
    assert moved != plan.id
    with Store(folder / DATABASE_NAME) as store:
        after = store.plans.get(moved).doughs[0]
        assert list(store.plans.done(moved)) == [begun]
        assert store.plans.batches_of(moved) == batches
    (before,) = plan.doughs
    assert abs(after.out_at - before.out_at - timedelta(minutes=15)) <= timedelta(minutes=1)
    assert after.stages[0].begins_at - before.stages[0].begins_at <= timedelta(minutes=1)
    app.session_state["can be undone"].take_back()
    assert open_plans(folder) == [plan.id]


def test_the_rest_of_a_plan_that_cannot_move_says_why(folder: Path):
    begun_now(folder)
    app = shown("plan")
    press(app, "15 min earlier")
    assert "too little time" in words(app)
    assert "Keep it" not in [each.label for each in app.button]
