"""Each screen as Streamlit runs it: normal, empty, stale, with hostile names; and what a baker does on it is kept."""

import re
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import time as clock_time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from grammar import check_shown
from sample_bakery import HOSTILE_NAME, NOW, fill
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime.forward_msg_queue import ForwardMsgQueue
from streamlit.testing.v1 import AppTest

from dashboard import queries
from dashboard.access import visitor
from dashboard.batch import screen as batch
from dashboard.board import screen as board
from dashboard.compare import screen as compare
from dashboard.drawing.markup import plain
from dashboard.formula import screen as formula
from dashboard.guide import screen as guide
from dashboard.overview import screen as overview
from dashboard.plan import screen as plan
from dashboard.review import screen as review
from dashboard.safety import screen as safety
from dashboard.sensors import screen as sensors
from dashboard.start import screen as start
from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Phase, Sort, Subject
from monitor.alerts.kinds import NoticeKind
from monitor.alerts.reasons import TroubleSeen
from monitor.alerts.troubles import DiskNearlyFull
from monitor.dough.curve import SHAPE_NAMES
from monitor.dough.learning import Lesson
from monitor.dough.prior import prior_of
from monitor.recipe.batch import BatchId, Event, EventKind
from monitor.recipe.intent import Intent, Verdict
from monitor.settings.data_dir import CONFIG_NAME, DATABASE_NAME
from monitor.store import heartbeat
from monitor.store.store import Store
from monitor.wire.readings import Channel
from monitor.wording.alerts import CAUTIONS


def _screen() -> None:
    """The app's navigation with one screen as its first."""
    import os

    import streamlit as st

    from dashboard.batch import screen as batch
    from dashboard.board import screen as board
    from dashboard.compare import screen as compare
    from dashboard.formula import screen as formula
    from dashboard.guide import screen as guide
    from dashboard.plan import screen as plan
    from dashboard.review import screen as review
    from dashboard.safety import screen as safety
    from dashboard.sensors import screen as sensors
    from dashboard.start import screen as start

    name = os.environ["PROOFING_TEST_SCREEN"]
    compare_page = st.Page(compare.show, title="Compare", url_path="c", default=name == "compare")
    review_page = st.Page(
        lambda: review.show(review_page, compare_page), title="Review", url_path="f", default=name == "review"
    )
    batch_page = st.Page(
        lambda: batch.show(review_page, review_page), title="Batch", url_path="b", default=name == "batch"
    )
    others = {
        "board": lambda: board.show(batch_page, review_page, review_page),
        "sensors": sensors.show,
        "safety": safety.show,
    }
    others |= {"start": lambda: start.show(batch_page), "plan": plan.show, "formula": formula.show}
    others["guide"] = guide.show
    pages = [st.Page(draw, title=key, url_path=key, default=name == key) for key, draw in others.items()]
    st.navigation([review_page, batch_page, compare_page, *pages], position="hidden").run()


@pytest.fixture(scope="module")
def kept_morning(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, BatchId]]:
    folder = tmp_path_factory.mktemp("morning")
    return folder, fill(folder)


@pytest.fixture
def morning(
    kept_morning: tuple[Path, dict[str, BatchId]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> dict[str, BatchId]:
    folder, ids = kept_morning
    shutil.copy(folder / DATABASE_NAME, tmp_path / DATABASE_NAME)  # closed, so its write-ahead log is empty
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    return ids


@pytest.fixture(autouse=True)
def utc_machine(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The machine's own zone is what the screens show; here it is UTC."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(tmp_path))
    return tmp_path


Runs = Callable[..., AppTest]


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> Runs:
    def run(name: str, batch_id: int | None = None) -> AppTest:
        monkeypatch.setenv("PROOFING_TEST_SCREEN", name)
        app = AppTest.from_function(_screen, default_timeout=30)
        if batch_id is not None:
            app.query_params["batch"] = str(batch_id)
        app.run()
        assert not app.exception, app.exception
        check_shown(app)
        return app

    return run


def words(app: AppTest) -> str:
    return "\n".join(str(element.proto.body) for element in app.get("html"))


def charts(app: AppTest) -> list[Any]:
    return [element.proto for element in app.get("vega_lite_chart")]


def test_the_tested_screens_are_the_ones_there_are() -> None:
    folder = Path(board.__file__).parents[1]
    tested = {
        Path(str(each.__file__))
        for each in (batch, board, compare, formula, guide, overview, plan, review, safety, sensors, start)
    }
    assert set(folder.glob("*/screen.py")) == tested
    for path in tested:
        assert len(path.read_text(encoding="utf-8").splitlines()) < 150, path


def test_the_guide_is_read_page_by_page(nothing: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROOFING_TEST_SCREEN", "guide")
    for name in guide.PAGES:
        app = AppTest.from_function(_screen, default_timeout=30)
        app.query_params["page"] = name
        app.run()
        assert not app.exception, app.exception
        text = words(app)
        assert guide.page(name)[0] in text or name == guide.CONTENTS
        links = re.findall(r'href="([^"]*)"', text)
        assert all(re.match(r"https://|\./guide\?page=", link) for link in links)
        assert {link.partition("page=")[2] for link in links if link.startswith(".")} <= set(guide.PAGES)


def test_a_page_that_is_not_there_is_the_contents(nothing: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROOFING_TEST_SCREEN", "guide")
    app = AppTest.from_function(_screen, default_timeout=30)
    app.query_params["page"] = "../../../etc/passwd"
    assert "How to watch dough" in words(app.run())


def test_board_shows_all_eight_states_trouble_first(morning: dict[str, BatchId], shown: Runs) -> None:
    text = words(shown("board"))
    for state in (
        "no rise yet",
        "rising",
        "nearly ready",
        "ready",
        "at peak",
        "past peak",
        "not rising",
        "no readings",
    ):
        assert f">{state}</span>" in text
    names = ["Milk buns", "Oat loaf", "Seed tin", "Hill country loaf", "Barley rolls"]
    places = [text.index(f'class="name">{name}') for name in names]
    assert places == sorted(places)
    assert "Village loaf" not in text
    assert "<b>Now, since 09:28</b><span>Fold and chill, or shape now <small>Milk buns</small>" in text
    assert "no readings since 08:54" in text
    assert HOSTILE_NAME not in text


def test_empty_board_teaches_how_to_begin(nothing: Path, shown: Runs) -> None:
    text = words(shown("board"))
    assert "proofing-monitor batch start loaf.toml" in text
    assert str(nothing) in text


def test_board_says_since_when_no_collector_has_run(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    assert "collector" not in words(shown("board"))
    with Store(tmp_path / DATABASE_NAME) as store:
        store.settings.put(heartbeat.KEY, (NOW - timedelta(minutes=15)).isoformat())
    assert "No collector has run since 09:21: nobody will be called." in words(shown("board"))
    with Store(tmp_path / DATABASE_NAME) as store:
        heartbeat.beat(store)
    assert "collector" not in words(shown("board"))


@pytest.mark.parametrize("name", ["batch", "review", "compare", "sensors", "safety", "plan", "formula"])
def test_every_screen_stands_an_empty_store(name: str, nothing: Path, shown: Runs) -> None:
    assert words(shown(name))


@pytest.mark.parametrize("name", ["board", "batch", "start", "sensors", "plan"])
def test_what_is_drawn_again_by_itself_stands_alone_in_its_container(
    name: str, morning: dict[str, BatchId], shown: Runs, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths: dict[str, list[tuple[int, ...]]] = {}  # by the part that draws there; "" for the page

    def note(message: ForwardMsg) -> None:
        if message.HasField("delta"):
            paths.setdefault(message.delta.fragment_id, []).append(tuple(message.metadata.delta_path))

    monkeypatch.setattr(ForwardMsgQueue, "_before_enqueue_msg", staticmethod(note))
    app = shown(name, morning["ready"])
    if name == "start":
        next(button for button in app.button if button.key.startswith("choose-doughs-")).click().run()
        app.button(key="open-watcher").click().run()
    assert set(paths) > {""}
    for part in set(paths) - {""}:
        place, *_ = paths[part]
        beside = {path for drawn in paths.values() for path in drawn if path[: len(place) - 1] == place[:-1]}
        assert {path[: len(place)] for path in beside - {place[:-1]}} == {place}


@pytest.mark.parametrize("name", ["board", "batch", "review", "compare", "sensors", "plan"])
def test_a_store_that_cannot_be_read_is_said_in_words(name: str, nothing: Path, shown: Runs) -> None:
    (nothing / DATABASE_NAME).write_text("this is no database, " * 100)
    assert "The store does not answer" in words(shown(name))


@pytest.mark.parametrize("name", ["past", "at_peak", "nearly", "rising", "ready", "no_rise", "stale", "not_rising"])
def test_batch_draws_every_state(name: str, morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("batch", morning[name])
    assert charts(app)
    assert HOSTILE_NAME not in words(app)


def test_batch_charts_carry_their_sentence(morning: dict[str, BatchId], shown: Runs) -> None:
    alts = [chart.alt for chart in charts(shown("batch", morning["nearly"]))]
    assert len(alts) == 3
    assert "Hill country loaf, first rise" in alts[0]
    assert "noted: folded 07:54, folded 08:24" in alts[0]
    assert "humidity" in alts[2]


@pytest.mark.parametrize("asked", ["", "999", "-1", "1e3", "nonsense", "9" * 40])
def test_an_address_that_names_no_batch_shows_the_first(
    asked: str, morning: dict[str, BatchId], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PROOFING_TEST_SCREEN", "batch")
    app = AppTest.from_function(_screen, default_timeout=30)
    app.query_params["batch"] = asked
    app.run()
    assert not app.exception
    assert "Milk buns" in words(app)


def test_an_ended_batch_sends_on_to_how_it_went(morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("batch", morning["ended"])
    assert "This stage is over." in words(app)
    assert charts(app) == []


@pytest.mark.parametrize(
    ("button", "kind", "note"),
    [
        ("fold", EventKind.FOLD, ""),
        ("move", EventKind.MOVE, ""),
        ("cover", EventKind.COVER, ""),
        ("poke fast", EventKind.POKE, "springs back fast"),
        ("poke slowly", EventKind.POKE, "springs back slowly"),
        ("poke not at all", EventKind.POKE, "stays"),
        ("windowpane holds", EventKind.WINDOWPANE, "holds"),
        ("strength slack", EventKind.STRENGTH, "slack"),
    ],
)
def test_one_touch_notes_what_was_done(
    button: str, kind: EventKind, note: str, morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = shown("batch", morning["no_rise"])
    app.button(key=button).click().run()
    assert not app.exception
    with Store(tmp_path / DATABASE_NAME) as store:
        (event,) = store.batches.get(morning["no_rise"]).events
    assert (event.at, event.kind, event.note) == (NOW, kind, note)


def field(app: AppTest, label: str) -> Any:
    return next(each for each in (*app.number_input, *app.radio) if each.label == label)


def note_measured(app: AppTest, kind: EventKind, number: float) -> AppTest:
    field(app, "Measured by hand").set_value(kind)
    field(app, "Number").set_value(number)
    next(button for button in app.button if button.label == "Note the number").click()
    return app.run()


def test_a_number_that_was_measured_by_hand_is_kept_and_one_that_cannot_be_is_not(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = note_measured(shown("batch", morning["no_rise"]), EventKind.PH, 4.8)
    app = note_measured(app, EventKind.DOUGH_TEMP, 99.0)
    assert not app.exception
    assert "Not noted: type a number from -10" in app.toast[-1].value
    with Store(tmp_path / DATABASE_NAME) as store:
        (event,) = store.batches.get(morning["no_rise"]).events
    assert (event.at, event.kind, event.value) == (NOW, EventKind.PH, 4.8)
    assert "pH 4.8" in charts(app)[0].alt


def test_what_was_checked_by_hand_comes_back_in_the_review_beside_the_rise(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    with Store(tmp_path / DATABASE_NAME) as store:
        ended = store.batches.get(morning["ended"])
        at = ended.started_at + timedelta(hours=1)
        store.batches.add_event(ended.id, Event(at, EventKind.WINDOWPANE, "holds"))
        store.batches.add_event(ended.id, Event(at, EventKind.TTA, "7.5"))
        (before,) = [each for each in store.outlooks.of(ended.id) if each.at <= at][-1:]
    assert before.rise_pct is not None
    said = words(shown("review", morning["ended"]))
    assert "Checked by hand" in said
    assert "windowpane: holds" in said
    assert "acidity (TTA) 7.5 mL" in said
    assert f"{before.rise_pct.p50:.0f} %" in said


@pytest.mark.parametrize(("screen", "name"), [("batch", "rising"), ("review", "ended")])
def test_a_dough_with_egg_says_its_time_above_5_c_with_the_guidance_planned_or_not(
    screen: str, name: str, morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    assert "It holds" not in words(shown(screen, morning[name]))
    with Store(tmp_path / DATABASE_NAME) as store, store.writing(is_of_batches=True) as connection:
        connection.execute("UPDATE batch SET perishable = ? WHERE id = ?", ('["egg"]', morning[name]))
    said = words(shown(screen, morning[name]))
    assert "It holds egg: " in said
    assert "above 5.0 °C (41.0 °F) in this stage alone, by the probe" in said
    assert "commonly up to 4 h (3-501.19)" in said


@pytest.mark.parametrize(("step", "target_pct"), [(-10, 65.0), (5, 80.0)])
def test_one_touch_moves_the_band(
    step: int, target_pct: float, morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = shown("batch", morning["nearly"])
    app.button(key=f"band {step}").click().run()
    assert not app.exception
    with Store(tmp_path / DATABASE_NAME) as store:
        assert store.batches.get(morning["nearly"]).target.rise_pct == target_pct
    assert f"the band stands at {target_pct:.0f} % up" in charts(app)[0].alt


def test_the_band_stands_where_the_edge_at_the_wall_will(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = shown("batch", morning["nearly"])
    with Store(tmp_path / DATABASE_NAME) as store:
        found = store.outlooks.latest(morning["nearly"])
    assert found is not None
    assert found.target_edge is not None
    level = found.target_edge.level_mm
    edge = f"{level.p05:.0f} to {level.p95:.0f} mm up the wall"
    told = f"the edge reaches the band {edge}; the middle then stands about 12 mm higher"
    assert told in words(app)
    assert told in charts(app)[0].alt
    app.button(key="band 5").click().run()  # of a band that was moved nothing is known until it is estimated again
    assert "up the wall" not in words(app) + charts(app)[0].alt


def test_what_if_is_answered_beside_the_forecast(morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("batch", morning["nearly"])
    assert "What if:" not in charts(app)[0].alt
    app.select_slider(key=f"if-air-{morning['nearly']}").set_value(4).run()
    assert not app.exception
    assert "in air of 30.4 °C (86.7 °F): ready about" in words(app)
    assert "What if: in air of 30.4 °C" in charts(app)[0].alt
    assert '"what if"' in charts(app)[0].spec
    app.time_input(key=f"if-in-{morning['nearly']}").set_value(clock_time(9, 30)).run()
    app.time_input(key=f"if-out-{morning['nearly']}").set_value(clock_time(5, 0)).run()
    assert "in the refrigerator from 09:36 to tomorrow 05:00: ready about" in words(app)
    app.button(key="as-it-is").click().run()
    assert "What if:" not in charts(app)[0].alt


def test_dew_point_is_held_against_the_dough(morning: dict[str, BatchId], shown: Runs) -> None:
    assert "below the dough: its skin dries slowly" in words(shown("batch", morning["nearly"]))


def test_a_level_read_by_eye_is_kept_with_its_doubt(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    app = shown("batch", morning["no_rise"])
    field(app, "Level at the wall, mm over the base").set_value(112.0)
    next(button for button in app.button if button.label == "Note").click().run()
    assert not app.exception
    with Store(tmp_path / DATABASE_NAME) as store:
        levels = [r for r in store.readings.of(store.batches.get(morning["no_rise"])) if r.channel is Channel.LEVEL]
    assert [(reading.value, reading.sd, reading.measured_at) for reading in levels] == [(112.0, 3.0, NOW)]


def test_an_empty_level_is_asked_for_and_not_kept(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    app = shown("batch", morning["no_rise"])
    next(button for button in app.button if button.label == "Note").click().run()
    assert [toast.value for toast in app.toast] == ["Type the level in millimetres first."]
    with Store(tmp_path / DATABASE_NAME) as store:
        assert not [r for r in store.readings.of(store.batches.get(morning["no_rise"])) if r.channel is Channel.LEVEL]


def test_the_end_of_a_stage_is_asked_twice(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    app = shown("batch", morning["ready"])
    app.button(key="end").click().run()
    with Store(tmp_path / DATABASE_NAME) as store:
        assert store.batches.get(morning["ready"]).ended_at is None
    assert app.button(key="end-now").label == "End it now"  # what that does, a real browser shows


def test_finished_lists_what_ended_and_opens_it(morning: dict[str, BatchId], shown: Runs) -> None:
    text = words(shown("review"))
    assert "Village loaf" in text
    assert "Milk buns" not in text
    app = shown("review", morning["ended"])
    text = words(app)
    assert "At half its rise the monitor said about" in text
    assert "Village loaf: ready. Divide and shape." in text
    assert "delivered" in text
    assert text.count("<tr>") > 20  # every forecast in numbers
    assert "Every forecast made" in charts(app)[-1].alt


def test_finished_says_what_the_recipe_taught(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    assert "learned from" not in words(shown("review", morning["ended"]))
    with Store(tmp_path / DATABASE_NAME) as store:
        ended = store.batches.get(morning["ended"])
        prior = prior_of(ended)
        covariance = tuple(tuple(map(float, row)) for row in prior.covariance)
        mean = tuple(map(float, prior.mean))
        lesson = Lesson(
            ended.recipe_key, ended.stage, ended.name, ended.started_at, ended.ended_at or NOW,
            SHAPE_NAMES, mean, covariance, mean, covariance, prior.least_ceiling_frac, None,
        )  # fmt: skip
        store.lessons.save(ended, lesson)
    assert "Village loaf: learned from 1 batch: rises as " in words(shown("review", morning["ended"]))


def test_an_overproofed_batch_says_why(morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("review", morning["over"])
    text = words(app)
    assert "Poppy rolls, tray 2: over-proofed by 1 h 2" in text
    assert "warm dough brought it forward by about" in text
    assert "2.6 °C warmer than planned in the mean" in text
    assert "It was called at 07:1" in text
    assert "nobody answered" in text
    assert "Kept to what was planned, this dough would have been ready after" in text
    assert "Or 5" in text
    causes = charts(app)[0].alt
    assert causes.startswith("Where the minutes went. planned: 2 h 30 min; dough 2.6 °C warmer: −")
    assert "yeast 0.9 % not 0.6 %" in causes


def test_a_verdict_is_kept_has_the_last_word_and_moves_the_band(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = shown("review", morning["over"])
    assert "By your verdicts" not in words(app)
    app.radio[0].set_value(Verdict.OVER)
    app.text_area[0].set_value("flat <b>and</b> grey")
    next(button for button in app.button if button.label == "Save").click().run()
    assert not app.exception
    text = words(app)
    assert "flat &lt;b&gt;and&lt;/b&gt; grey" in text
    assert "By your verdicts the band belongs at about" in text
    with Store(tmp_path / DATABASE_NAME) as store:
        said = store.reviews.judgement(morning["over"])
    assert said is not None
    assert (said.verdict, said.at) == (Verdict.OVER, NOW)


def test_the_account_is_held_against_another_plan(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    app = shown("review", morning["over"])
    temp, yeast, proof = app.number_input
    assert (temp.value, yeast.value, proof.value) == (22.0, 0.6, 150.0)
    temp.set_value(26.0)
    yeast.set_value(0.9)
    next(button for button in app.button if button.label == "Hold it against this").click().run()
    assert not app.exception
    assert "colder" in charts(app)[0].alt
    assert "yeast" not in charts(app)[0].alt
    with Store(tmp_path / DATABASE_NAME) as store:
        assert store.reviews.intent(morning["over"]) == Intent(26.0, None, 150.0)


def test_looking_back_changes_the_forecast_that_is_shown(morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("review", morning["ended"])
    before = charts(app)[1].spec
    app.select_slider(key="moment").set_value(5).run()
    assert not app.exception
    assert charts(app)[1].spec != before


def test_screens_read_the_bakers_zone_and_scale_from_the_settings(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    (tmp_path / CONFIG_NAME).write_text('timezone = "Asia/Kolkata"\ntemp_unit = "F"\n')
    assert '<div class="clock">15:06' in words(shown("board"))
    assert "77.5 °F" in words(shown("sensors"))
    assert "77.5 °F (25.3 °C)" in charts(shown("batch", morning["nearly"]))[1].alt


def test_settings_that_cannot_be_read_do_not_stop_the_screens(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    (tmp_path / CONFIG_NAME).write_text("timezone = 'Nowhere/At-all'")
    assert '<div class="clock">09:36' in words(shown("board"))


def test_settings_that_may_demand_a_login_stop_them(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    visitor.settings.clear()
    (tmp_path / CONFIG_NAME).write_text("this is no TOML")
    said = words(shown("board"))
    visitor.settings.clear()
    assert "Closed" in said
    assert "Barley rolls" not in said


def watched_start(shown: Runs, like: str, sensor: str) -> AppTest:
    """Start, with a dough like one before and the editor open in which a sensor was chosen to look at it."""
    app = shown("start")
    label = plain(like)
    next(button for button in app.button if button.label == label).click().run()
    app.button(key="open-watcher").click().run()
    app.selectbox(key="edit-node").select(sensor).run()
    assert not app.exception
    return app


def test_a_batch_is_started_like_one_before_in_a_vessel_that_was_tared(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = watched_start(shown, "Hill country loaf, first rise", "mac:020000fffe5e0001")
    text = words(app)
    assert "as Hill country loaf" in text
    assert "180 to 230 mm across, 250 mm deep inside" in text
    assert "heard 18 s ago: dough 25.3 °C (77.5 °F); 152 mm down to what is below it, 168 mm of dough, 5.1" in text
    app.button(key="zero").click().run()
    assert not app.exception
    with Store(tmp_path / DATABASE_NAME) as store:
        zero_mm = store.vessels.all()["as Hill country loaf"].sensor_to_base_mm
    assert zero_mm == pytest.approx(152.0, abs=2.0)
    assert ", empty" in words(app)


def test_a_node_that_is_silent_cannot_tare(morning: dict[str, BatchId], shown: Runs, tmp_path: Path) -> None:
    app = watched_start(shown, "Hill country loaf, first rise", "mac:020000fffe5e0002")
    assert "last heard 42 min ago: look after it first" in words(app)
    app.button(key="zero").click().run()
    assert "Not set to zero" in app.toast[0].value
    with Store(tmp_path / DATABASE_NAME) as store:
        assert store.vessels.all() == {}


def test_nodes_say_what_was_heard_lost_and_refused(morning: dict[str, BatchId], shown: Runs) -> None:
    text = words(shown("sensors"))
    assert "heard 18 s ago; nothing lost" in text
    assert "heard 42 min ago; 12 sent while out of reach were lost" in text
    assert "offline" in text
    assert ">damaged on the way</td>" in text
    assert "if it comes often, look at plug, cable and supply</td>" in text
    assert "<b>nobody</b>" not in text


def test_everybody_is_rung_on_request_and_each_answer_shown(
    morning: dict[str, BatchId], shown: Runs, tmp_path: Path
) -> None:
    app = shown("sensors")
    app.button(key="ring-everybody").click().run()
    assert "ringing ..." in words(app)
    with Store(tmp_path / DATABASE_NAME) as store:
        ((message, _, _),) = [each for each in store.outbox.open_messages() if each[0].kind is NoticeKind.TEST_CALL]
        store.outbox.save_call(Call(message.id, 1, "early shift", NOW, NOW, "json#1", 1))
        store.outbox.save_call(Call(message.id, 2, "owner", NOW, None, "mailto#2", 1, "403"))
    app.run()
    assert "early shift, json#1: taken" in words(app)
    assert "owner, mailto#2: it answered 403" in words(app)
    assert "ringing ..." in words(app)
    with Store(tmp_path / DATABASE_NAME) as store:
        store.outbox.close_message(message.id, "said")
    assert "ringing ..." not in words(app.run())


def test_nobody_can_be_rung_while_no_collector_runs(nothing: Path, shown: Runs) -> None:
    assert "No collector is running: nobody will be called." in words(shown("sensors"))


def test_cautions_are_all_there(nothing: Path, shown: Runs) -> None:
    text = words(shown("safety"))
    for caution in CAUTIONS:
        assert caution.title in text


# -- what calls -----------------------------------------------------------------------------------------------------


def stands() -> dict[AlertKind, Phase]:
    with Store(queries.database()) as store:
        return {alert.kind: alert.phase for alert in store.alerts.active()}


def number_of(kind: AlertKind) -> int:
    with Store(queries.database()) as store:
        return next(alert.number for alert in store.alerts.active() if alert.kind is kind)


def test_board_shows_what_calls_and_one_touch_acknowledges_it(morning: dict[str, BatchId], shown: Runs) -> None:
    app = shown("board")
    assert '<p class="call grave">past its peak, since 09:28</p>' in words(app), "in the card of its dough"
    assert ": node silent</b>, since " in words(app)
    assert "Last night" not in words(app), "nobody was called"
    number = number_of(AlertKind.PAST_PEAK)
    app.button(key=f"seen-card-{number}").click().run()
    assert not app.exception
    assert stands() == {AlertKind.PAST_PEAK: Phase.ACKNOWLEDGED, AlertKind.NODE_SILENT: Phase.UNACKNOWLEDGED}
    assert 'class="call' not in words(app), "the board shows what nobody has acknowledged"
    assert "Milk buns</small>" not in words(app), "and the bar asks no more"
    with Store(queries.database()) as store:
        assert [change.by for change in store.alerts.history()] == ["the dashboard"]


def test_board_acknowledges_all_by_one_touch(morning: dict[str, BatchId], shown: Runs) -> None:
    other = Subject(Sort.NODE, "urn:dev:mac:020000fffe5e0008")
    with Store(queries.database()) as store:
        store.alerts.save([Alert(other, AlertKind.NODE_SILENT, 1, NOW, NOW, called_at=NOW)], [], [], NOW)
    app = shown("board")
    app.button(key="all-seen").click().run()
    assert stands()[AlertKind.NODE_SILENT] is Phase.ACKNOWLEDGED
    assert stands()[AlertKind.PAST_PEAK] is Phase.UNACKNOWLEDGED, "a dough's call is answered in its card"


@pytest.mark.parametrize("doughs", ["morning", "nothing"])
def test_board_shows_the_monitors_own_trouble_first_until_it_is_over(
    doughs: str, shown: Runs, request: pytest.FixtureRequest
) -> None:
    request.getfixturevalue(doughs)
    subject = Subject(Sort.MONITOR, "disk")
    reason = TroubleSeen(DiskNearlyFull("<b>here</b>"))
    full = Alert(subject, AlertKind.TROUBLE, 1, NOW, NOW, called_at=NOW, reason=reason)
    with Store(queries.database()) as store:
        store.alerts.save([full], [], [], NOW)
    app = shown("board")
    said = words(app)
    assert "<b>the monitor: monitor in trouble</b>, since " in said
    assert "nobody has seen it yet: the disk under &lt;b&gt;here&lt;/b&gt; is nearly full; what to do: " in said
    assert doughs == "nothing" or said.index("the disk under") < said.index("past its peak, since ")
    app.button(key=f"seen-board-{number_of(AlertKind.TROUBLE)}").click().run()
    assert "seen: the disk under" in words(app), "it stays while it lasts"
    with Store(queries.database()) as store:
        (kept,) = [alert for alert in store.alerts.active() if alert.kind is AlertKind.TROUBLE]
        store.alerts.save([replace(kept, returned_at=NOW)], [], [], NOW)
    assert "the disk under" not in words(app.run())


def test_batch_screen_shelves_and_brings_back(morning: dict[str, BatchId], shown: Runs) -> None:
    number = number_of(AlertKind.PAST_PEAK)
    with Store(queries.database()) as store:
        batch_id = next(alert.subject.batch_id for alert in store.alerts.active() if alert.number == number)
    app = shown("batch", batch_id)
    assert "What calls for you" in words(app)
    app.button(key=f"later-batch-{number}").click().run()
    assert stands()[AlertKind.PAST_PEAK] is Phase.SHELVED
    assert "later, until" in words(app)
    app.button(key=f"again-batch-{number}").click().run()
    assert stands()[AlertKind.PAST_PEAK] is Phase.UNACKNOWLEDGED


def test_who_may_only_look_can_say_nothing_to_an_alert(
    morning: dict[str, BatchId], shown: Runs, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown("board")
    folder = queries.database().parent
    (folder / CONFIG_NAME).write_text('[dashboard]\nlogin = "proxy"\nbakers = ["ida"]\nviewers = ["guest"]\n')
    monkeypatch.setattr("dashboard.access.visitor.who", lambda access, secret: "guest")
    visitor.settings.clear()
    app.button(key=f"seen-card-{number_of(AlertKind.PAST_PEAK)}").click().run()
    assert stands()[AlertKind.PAST_PEAK] is Phase.UNACKNOWLEDGED
    visitor.settings.clear()
