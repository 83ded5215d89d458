"""The sentences a baker reads: complete, plain, and on the baker's own clock."""

import re
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.alerts.dough import Alert, AlertKind, Facts, Message, Phase, Sort, Subject
from monitor.alerts.reasons import NoRise, ViewBlocked
from monitor.dough.outlook import (
    Band,
    Cause,
    KeptText,
    Moments,
    NoForecast,
    Obstruction,
    ObstructionKind,
    Outlook,
    State,
    TargetEdge,
)
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.mixing import learned_friction
from monitor.recipe.recipe_file import recipe_from_toml
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, NodeId
from monitor.wording import alerts, recipe_sheet
from monitor.wording.cautions import cautions_of_batch, cautions_of_recipe, reminder_lines
from monitor.wording.reader import Reader
from monitor.wording.silence import UnseenDough, notice_of

NINE = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
LOAF = Batch(
    id=BatchId(7),
    name="Hill country loaf",
    stage=Stage.FIRST_RISE,
    started_at=NINE - timedelta(hours=2),
    vessel=Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
    target=Target(75.0),
    nodes=((Channel.DISTANCE, NODE), (Channel.AIR_TEMP, NODE)),
)
POOLISH = replace(LOAF, name="Evening poolish", stage=Stage.PREFERMENT, target=Target(None))
ROLLS = replace(LOAF, name="Barley rolls", stage=Stage.FINAL_PROOF, preheat_min=40.0)
SEEN = dict.fromkeys(Channel, NINE)
OTHER_KINDS = (AlertKind.SENSOR_SILENT, AlertKind.NODE_SILENT, AlertKind.LINE_SILENT, AlertKind.TROUBLE)
DOUGH_KINDS = [kind for kind in AlertKind if kind not in OTHER_KINDS]
# Words of statistics and of machines that no baker needs.
JARGON = re.compile(
    r"\b(quantile|percentile|probab\w+|chance|interval|confiden\w+|median|mean|sigma|deviation|distribution|posterior|"
    r"prior|likelihood|variance|estimat\w+|p05|p50|p95|nan|none|null|batch_id|episode|threshold)\b",
    re.IGNORECASE,
)


def at(minute: float) -> datetime:
    return NINE + timedelta(minutes=minute)


def around(early: float, middle: float, late: float) -> Moments:
    return Moments(at(early), at((early + middle) / 2), at(middle), at((middle + late) / 2), at(late))


def outlook(state: State = State.NEARLY_READY, **changes: object) -> Outlook:
    rising = Outlook(
        at=NINE,
        state=state,
        rise_pct=Band(69.0, 71.0, 73.0),
        ready=around(45, 51, 58),
        peak=around(100, 120, 140),
        air_temp_c=25.3,
        humidity_pct=60.0,
        last_reading_at=NINE,
    )
    return replace(rising, **changes)  # type: ignore[arg-type]


PAST = outlook(State.PAST_PEAK, ready=around(-35, -30, -25), peak=around(-14, -12, -10))


def said(kind: AlertKind, about: Outlook | None, batch: Batch = LOAF, **changes: object) -> str:
    alert = Alert(Subject.batch(batch.id), kind, 1, NINE, fired_at=NINE)
    facts = Facts(batch, about, NINE, {**SEEN, **changes})  # type: ignore[arg-type]
    return alerts.message_of(alert, facts, reader=Reader(UTC)).text


# -- words ---------------------------------------------------------------------------------------------------------


def test_every_state_stage_event_channel_and_alert_has_its_words() -> None:
    words = [alerts.state_word(state, Reader(UTC)) for state in State]
    words += [alerts.stage_word(stage, Reader(UTC)) for stage in Stage]
    words += [alerts.event_word(kind, Reader(UTC)) for kind in EventKind]
    words += [alerts.channel_word(channel, Reader(UTC)) for channel in Channel]
    words += [alerts.alert_kind_word(kind, Reader(UTC)) for kind in AlertKind]
    words += [alerts.phase_word(phase, Reader(UTC)) for phase in Phase]
    assert all(words)
    assert not [word for word in words if "_" in word or JARGON.search(word)]
    assert len({alerts.state_word(state, Reader(UTC)) for state in State}) == len(State)


def test_clock_is_the_bakers_own_and_names_another_day() -> None:
    vienna = Reader(ZoneInfo("Europe/Vienna"))
    assert alerts.clock_text(NINE, vienna) == "10:00"
    assert alerts.clock_text(at(24 * 60), vienna, NINE) == "tomorrow 10:00"
    assert alerts.clock_text(at(-24 * 60), vienna, NINE) == "yesterday 10:00"
    assert alerts.clock_text(at(3 * 24 * 60), vienna, NINE) == "Thursday 10:00"
    assert alerts.clock_text(at(14 * 24 * 60), vienna, NINE) == "2026-03-16 10:00"
    # 23:30 UTC is the next day in Vienna, though not in Greenwich
    assert alerts.clock_text(at(14.5 * 60), vienna, NINE) == "tomorrow 00:30"


def test_clock_and_duration_round_to_the_minute() -> None:
    assert alerts.clock_text(NINE + timedelta(seconds=29), Reader(UTC)) == "09:00"
    assert alerts.clock_text(NINE + timedelta(seconds=30), Reader(UTC)) == "09:01"
    assert alerts.duration_text(59.6) == "1 h"
    assert alerts.duration_text(-3) == "0 min"


def test_day_of_a_forecast_is_said_once() -> None:
    overnight = around(20 * 60, 21 * 60, 22 * 60)
    assert alerts.about_text(overnight, Reader(UTC), NINE) == "about tomorrow 06:00, between 05:00 and 07:00"
    across = around(14 * 60, 16 * 60, 18 * 60)
    assert alerts.about_text(across, Reader(UTC), NINE) == "about tomorrow 01:00, between 23:00 and tomorrow 03:00"


def test_missing_ends_of_a_forecast_are_said_plainly() -> None:
    assert alerts.about_text(Moments(p05=at(45), p50=at(51)), Reader(UTC), NINE) == "about 09:51, not before 09:45"
    assert alerts.about_text(Moments(p05=at(45)), Reader(UTC), NINE) == "not before 09:45, and perhaps not at all"
    assert alerts.about_text(Moments(), Reader(UTC), NINE) is None
    assert alerts.about_text(around(51, 51, 51), Reader(UTC), NINE) == "about 09:51"


def test_hostile_name_stays_on_one_line_and_steers_nothing() -> None:
    assert alerts.printable("a\r\nBcc: x\x1b[2J\u202eb") == "a Bcc: x [2J b"
    assert alerts.printable("Müsli 面包") == "Müsli 面包"


def test_weight_and_temperature_come_in_both_measures() -> None:
    assert alerts.mass_text(7.0, Reader(UTC)) == "7.0 g (0.2 oz)"
    assert alerts.temp_text(-4.0, Reader(UTC)) == "-4.0 °C (24.8 °F)"


def test_rise_tells_its_doubt_only_where_it_shows() -> None:
    assert alerts.rise_text(outlook(), Reader(UTC)) == "71 % up (between 69 and 73)"
    assert alerts.rise_text(outlook(rise_pct=Band(70.8, 71.0, 71.2)), Reader(UTC)) == "71 % up"
    assert alerts.rise_text(outlook(rise_pct=Band(-6.0, -4.0, -2.0)), Reader(UTC)) == "4 % below where it began"
    assert alerts.rise_text(outlook(rise_pct=None), Reader(UTC)) == "its rise is not known"


# -- sentences -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("batch", "about", "sentence", "todo"),
    [
        (LOAF, outlook(), "ready about 09:51, between 09:45 and 09:58", "then: divide and shape"),
        (LOAF, PAST, "was ready 08:30; past its peak since 08:48", "fold and chill, or shape now"),
        (LOAF, outlook(State.READY, ready=around(-5, -2, 0)), "ready since 08:58", "divide and shape now"),
        (POOLISH, outlook(State.RISING, ready=around(132, 180, 216), peak=around(132, 180, 216)),
         "peak about 12:00, between 11:12 and 12:36", "then: mix the dough with it"),
        (ROLLS, outlook(State.RISING, ready=around(69, 84, 102)), "ready about 10:24, between 10:09 and 10:42",
         "oven on 09:37"),
        (ROLLS, outlook(State.RISING, ready=around(20, 30, 40)), "ready about 09:30, between 09:20 and 09:40",
         "then: load the oven"),
        (LOAF, outlook(State.AT_PEAK, ready=Moments(), peak=around(2, 5, 9)),
         "will hardly get to 75 % up; peak about 09:05, between 09:02 and 09:09", "divide and shape now"),
        (LOAF, outlook(State.NOT_RISING, ready=Moments()),
         "has not begun to rise after 2 h; as things stand it will not get to 75 % up",
         "check its warmth and whether the yeast went in"),
        (LOAF, Outlook(at=NINE, state=State.NO_READINGS, last_reading_at=at(-45)), "no readings since 08:15",
         "look at the dough, then at the sensor's power and cable"),
        (replace(LOAF, nodes=()), Outlook(at=NINE, state=State.NO_READINGS, why=NoForecast.NO_LEVEL_YET),
         "no readings: no level has been noted yet: read it off the wall", "look at the dough and note its level"),
        (LOAF, outlook(why=KeptText("too little measured yet", "en")), "no forecast: too little measured yet",
         "then: divide and shape"),
        (replace(LOAF, ended_at=at(-1)), PAST, "ended 08:59; was ready 08:30", ""),
    ],
)  # fmt: skip
def test_sentence_and_task(batch: Batch, about: Outlook, sentence: str, todo: str) -> None:
    assert alerts.outlook_sentence(batch, about, Reader(UTC)) == sentence
    assert alerts.todo_sentence(batch, about, Reader(UTC)) == todo


@pytest.mark.parametrize(
    ("found", "sentence"),
    [
        ([(ObstructionKind.LID, -40, None)],
         "not seen since 08:20: is there a lid on it? The forecast goes on without"),
        ([(ObstructionKind.CONDENSATION, -40, None)],
         "not seen since 08:20: is the sensor wet? The forecast goes on without"),
        ([(ObstructionKind.BLIND_ZONE, -40, None)], "too near to the sensor since 08:20; the forecast goes on without"),
        ([(ObstructionKind.AWAY, -40, None)], "no dough under the sensor since 08:20; the forecast goes on without"),
        ([(ObstructionKind.HAND, -1, None)], ""),
        ([(ObstructionKind.LID, -40, -20)], ""),
        ([(ObstructionKind.MOVED, -40, -40)], "its level jumped 08:20: was the tub moved?"),
        ([(ObstructionKind.FOLD, -40, -40)], "its level fell 08:20: was it folded?"),
        ([(ObstructionKind.FOLD, -40, -40), (ObstructionKind.MOVED, -40, -40)],
         "its level fell 08:20: was it folded, or the tub moved?"),
        ([(ObstructionKind.FOLD, -90, -90)], ""),
        ([], ""),
    ],
)  # fmt: skip
def test_what_hides_a_dough_or_made_it_jump(
    found: list[tuple[ObstructionKind, int, int | None]], sentence: str
) -> None:
    obstructions = tuple(
        Obstruction(kind, at(since), None if until is None else at(until), 0.8) for kind, since, until in found
    )
    assert alerts.obstruction_sentence(outlook(obstructions=obstructions), Reader(UTC)) == sentence


@pytest.mark.parametrize(
    ("cause", "words"),
    [(Cause.TOO_COLD, "too cold"), (Cause.LITTLE_YEAST, "too little yeast"),
     (Cause.NO_LIVE_YEAST, "no live yeast in it, it seems")],
)  # fmt: skip
def test_why_a_dough_does_not_rise(cause: Cause, words: str) -> None:
    about = outlook(State.NOT_RISING, ready=Moments(), cause=cause)
    assert alerts.outlook_sentence(LOAF, about, Reader(UTC)) == f"has not begun to rise after 2 h: {words}"


def test_out_of_sight_it_is_only_perhaps_ready() -> None:
    lid = Obstruction(ObstructionKind.LID, at(-40), None, 0.9)
    about = outlook(State.NEARLY_READY, ready=around(-30, -10, 20), obstructions=(lid,))
    assert alerts.outlook_sentence(LOAF, about, Reader(UTC)) == "perhaps ready since 08:50"


def test_next_task_gives_the_time_that_sorts_the_board() -> None:
    task = alerts.next_task(LOAF, outlook(), Reader(UTC))
    assert task is not None
    assert (task.at, task.is_now) == (at(51), False)
    late = alerts.next_task(LOAF, PAST, Reader(UTC))
    assert late is not None
    assert late.is_now
    assert alerts.next_task(replace(LOAF, ended_at=NINE), PAST, Reader(UTC)) is None


def test_chart_is_told_to_who_cannot_see_it() -> None:
    folded = replace(LOAF, events=(Event(at(-60), EventKind.FOLD), Event(at(-30), EventKind.FOLD)))
    assert alerts.curve_sentence(folded, outlook(), Reader(UTC)) == (
        "Hill country loaf, first rise, from 07:00; at 09:00 it is nearly ready, 71 % up (between 69 and 73); the band "
        "stands at 75 % up; ready about 09:51, between 09:45 and 09:58; peak about 11:00, between 10:40 and 11:20; "
        "noted: folded 08:00, folded 08:30."
    )


@pytest.mark.parametrize(
    ("level", "dome", "text", "sentence"),
    [
        (Band(138.0, 142.0, 147.0), Band(9.0, 12.0, 16.0), "142 mm up the wall",
         "the edge reaches the band 142 mm up the wall; the middle then stands about 12 mm higher"),
        (Band(131.0, 142.0, 149.0), Band(9.0, 12.0, 16.0), "131 to 149 mm up the wall",
         "the edge reaches the band 131 to 149 mm up the wall; the middle then stands about 12 mm higher"),
        (Band(138.0, 142.0, 147.0), Band(-9.0, -6.0, -1.0), "142 mm up the wall",
         "the edge reaches the band 142 mm up the wall; the middle then stands about 6 mm lower"),
        (Band(138.0, 142.0, 147.0), Band(0.5, 3.0, 9.0), "142 mm up the wall", ""),
    ],
)  # fmt: skip
def test_the_band_is_told_as_the_edge_at_the_wall(level: Band, dome: Band, text: str, sentence: str) -> None:
    found = replace(outlook(), target_edge=TargetEdge(75.0, level, dome))
    assert alerts.edge_text(LOAF, found, Reader(UTC)) == text
    assert alerts.edge_sentence(LOAF, found, Reader(UTC)) == sentence
    moved = replace(LOAF, target=Target(80.0))
    assert alerts.edge_text(moved, found, Reader(UTC)) == alerts.edge_sentence(moved, found, Reader(UTC)) == ""
    assert alerts.edge_text(LOAF, outlook(), Reader(UTC)) == ""


# -- alerts --------------------------------------------------------------------------------------------------------

OUTLOOKS = [outlook(state) for state in State] + [
    PAST,
    outlook(State.READY, ready=around(-5, -2, 0)),
    outlook(State.READY, ready=around(-95, -90, -80)),
    outlook(State.AT_PEAK, ready=Moments()),
    Outlook(at=NINE, state=State.NO_READINGS, why=NoForecast.NO_READING_YET),
    Outlook(at=NINE, state=State.RISING),
    None,
]


@pytest.mark.parametrize("kind", DOUGH_KINDS)
@pytest.mark.parametrize("batch", [LOAF, POOLISH, ROLLS, replace(LOAF, stage=Stage.RETARD)], ids=lambda b: b.stage)
def test_every_alert_names_batch_and_rise_says_what_to_do_and_speaks_plainly(kind: AlertKind, batch: Batch) -> None:
    for about in OUTLOOKS:
        text = said(kind, about, batch)
        assert text.startswith(f"{batch.name}, {alerts.stage_word(batch.stage, Reader(UTC))}, ")
        assert alerts.rise_text(about or Outlook(at=NINE, state=State.NO_RISE), Reader(UTC)) in text
        assert len(re.findall(r"[.!?](?= |$)", text)) >= 2, text  # how it is, and what to do
        assert not JARGON.search(text), text
        assert not re.search(r"  |\.\.|,\.|: \.|_|[\U0001F000-\U0001FAFF]", text), text


@pytest.mark.parametrize("kind", DOUGH_KINDS)
def test_every_alert_about_a_rising_dough_tells_when(kind: AlertKind) -> None:
    assert re.search(r"\b\d\d:\d\d\b", said(kind, outlook()))


def test_message_id_is_the_same_for_every_repeat_and_differs_by_episode() -> None:
    alert = Alert(Subject.batch(LOAF.id), AlertKind.AT_PEAK, 2, NINE, fired_at=NINE)
    facts = Facts(LOAF, outlook(), NINE, SEEN)
    first = alerts.message_of(alert, facts, reader=Reader(UTC))
    again = alerts.message_of(alert, replace(facts, now=at(5)), reader=Reader(UTC))
    other = alerts.message_of(replace(alert, episode=3), facts, reader=Reader(UTC))
    assert first.id == again.id == "7-at-peak-2"
    assert other.id != first.id
    assert first.title == "Hill country loaf: at its peak"


def test_ready_told_late_says_since_when() -> None:
    late = said(AlertKind.READY, outlook(State.READY, ready=around(-95, -90, -80)))
    assert "Was ready about 07:30, 1 h 30 min ago: this is known only now." in late
    assert "It is ready now" not in late
    assert "It is ready now, at 09:00. Divide and shape now." in said(
        AlertKind.READY, outlook(State.READY, ready=around(-4, -1, 2))
    )


def test_ready_told_when_it_has_already_fallen_in_says_how_to_save_it() -> None:
    text = said(AlertKind.READY, PAST)
    assert "Was ready 08:30; past its peak since 08:48. Fold and chill, or shape now." in text


def test_oven_alert_leaves_the_switch_to_the_baker_and_warns_when_the_dough_is_sooner() -> None:
    text = said(AlertKind.OVEN_ON, outlook(ready=around(35, 50, 65)), ROLLS)
    assert "Switch the oven on now, with the stone in it: it needs 40 min." in text
    assert "never switches heat: you do" in text
    assert "hot about" not in text
    assert "hot about 09:40, after the dough" in said(AlertKind.OVEN_ON, outlook(ready=around(5, 20, 30)), ROLLS)


def test_last_call_differs_from_a_peak_that_is_waited_for() -> None:
    stood = outlook(State.AT_PEAK, ready=around(-35, -30, -25), peak=around(2, 5, 9))
    assert "Last call: it was ready 08:30" in said(AlertKind.AT_PEAK, stood)
    assert "Get ready to mix the dough with it." in said(AlertKind.AT_PEAK, stood, POOLISH)
    assert "Mix the dough with it now." in said(AlertKind.AT_PEAK, replace(stood, peak=around(-1, 1, 4)), POOLISH)
    assert "will hardly get to 75 % up" in said(AlertKind.AT_PEAK, replace(stood, ready=Moments()))


def test_alert_of_an_unseen_dough_says_that_nobody_measured_it() -> None:
    stale = {Channel.DISTANCE: at(-30), Channel.LEVEL: None}
    ready = outlook(State.READY, ready=around(-5, -2, 0))
    assert said(AlertKind.READY, ready, **stale).endswith("not been measured since 08:30: look at it first.")
    by_warmth = replace(ready, is_from_heights=False)
    assert said(AlertKind.READY, by_warmth).endswith("judged from warmth and recipe alone: look at it first.")
    assert "look at it first" not in said(AlertKind.READY, ready)


def notice(kind: AlertKind, subject: Subject, *served: UnseenDough, about: str = "") -> Message:
    alert = Alert(subject, kind, 1, NINE, fired_at=NINE, about=about)
    return notice_of(alert, served, at(-12), NINE, Reader(UTC))


def test_silent_sensor_is_named_with_its_node_since_when_and_the_doughs_it_leaves_unseen() -> None:
    served = (UnseenDough(LOAF, outlook()), UnseenDough(ROLLS, None))
    told = notice(AlertKind.SENSOR_SILENT, Subject(Sort.NODE, NODE), *served, about="distance_mm")
    assert told.title == f"Node {NODE}: sensor silent"
    assert told.text.startswith(f"No height from node {NODE} since 08:48. Hill country loaf: ")
    assert "09:51" in told.text
    assert "Barley rolls: nothing is known of it yet." in told.text
    assert told.text.endswith("Look at these doughs yourself until it is heard again.")
    assert not JARGON.search(told.text)


def test_silent_node_puts_first_the_dough_that_should_be_ready() -> None:
    served = (UnseenDough(ROLLS, outlook()), UnseenDough(LOAF, PAST, is_wanted=True))
    told = notice(AlertKind.NODE_SILENT, Subject(Sort.NODE, NODE), *served, about="batch-7")
    assert told.title == "Hill country loaf: look yourself, node silent"
    assert told.text.index("Hill country loaf") < told.text.index("Look at it now.") < told.text.index("Barley rolls")


def test_silent_line_names_a_few_doughs_and_counts_the_others() -> None:
    many = [UnseenDough(replace(LOAF, name=f"Loaf {n}"), outlook()) for n in range(12)]
    told = notice(AlertKind.LINE_SILENT, Subject(Sort.LINE, "mqtt://127.0.0.1:1883"), *many)
    assert told.title == "Line mqtt://127.0.0.1:1883: line silent"
    assert "Loaf 7: " in told.text
    assert "Loaf 8: " not in told.text
    assert "It leaves 4 doughs more unseen." in told.text


def test_dry_air_gives_both_temperature_and_humidity() -> None:
    text = said(AlertKind.AIR_TOO_DRY, outlook(), ROLLS)
    assert "The air around it, at 25.3 °C (77.5 °F) with 60 % humidity, dries the skin" in text


# -- cautions ------------------------------------------------------------------------------------------------------


SUBJECTS = (
    "oven and stone", "left on", "steam", "electricity", "jars", "glass", "flour dust", "allergens", "mould", "grain",
    "food",
)  # fmt: skip


def test_cautions_cover_their_subjects_and_defer_to_who_knows() -> None:
    titles = [caution.title.lower() for caution in alerts.CAUTIONS]
    assert [sum(subject in title for title in titles) for subject in SUBJECTS] == [1] * len(titles)
    assert all(word in alerts.DEFERENCE for word in ("local codes", "manual", "licensed"))
    assert "never switches heat" in alerts.DEFERENCE
    assert "cannot tell whether food is safe" in alerts.CAUTIONS[-1].text
    defers = re.compile(r"\b(code|law|manuals?|authority|licensed)\b")
    assert [caution.title for caution in alerts.CAUTIONS if not defers.search(caution.text)] == []


FIELD = """
name = "Meadow loaf"
[[part]]
name = "soaker"
kind = "soaker"
[part.ingredients]
"rolled oats" = "80 g"
water = "80 g"
[[part]]
name = "dough"
[part.ingredients]
"white flour" = "500 g"
"ripe starter" = "100 g"
water = "300 g"
milk = "50 g"
salt = "10 g"
soaker = "all"
[bake]
minutes = 45
oven_c = 230
steam_min = [0]
"""


def test_a_recipe_reminds_of_what_its_steps_hold_and_says_whose_word_comes_first() -> None:
    recipe = recipe_from_toml(tomllib.loads(FIELD), "meadow.toml")
    titles = [caution.title for caution in cautions_of_recipe(recipe)]
    assert titles == [
        "Flour dust", "Allergens", "Mould and starters", "Warm soakers and cooked grain", "Food", "Steam",
        "An oven left on",
    ]  # fmt: skip
    lines = reminder_lines(cautions_of_recipe(recipe), Reader(UTC))
    assert all(lines)
    assert lines[-1] == "Local codes and licensed professionals come first: see Safety."
    assert lines[0] in recipe_sheet.sheet_html(recipe, Reader(UTC), learned_friction([]), 4.0)


def test_a_preferment_is_reminded_of_its_lid_and_a_first_rise_of_nothing() -> None:
    jar = replace(ROLLS, stage=Stage.PREFERMENT, preheat_min=None)
    assert [caution.title for caution in cautions_of_batch(jar)] == ["Sealed jars"]
    assert reminder_lines(cautions_of_batch(replace(jar, stage=Stage.FIRST_RISE)), Reader(UTC)) == []


def test_a_ripe_starter_is_used_and_only_then_called_weak() -> None:
    """Begun two hours ago and past its peak for six minutes: ripe for a quarter of an hour after it."""
    ripe = outlook(State.PAST_PEAK, ready=around(-9, -6, -4), peak=around(-9, -6, -4))
    assert alerts.todo_sentence(POOLISH, ripe, Reader(UTC)) == "mix the dough with it now"
    assert "It is ripe until about 09:09. Mix the dough with it now." in said(AlertKind.READY, ripe, POOLISH)
    old = outlook(State.PAST_PEAK, ready=around(-39, -36, -34), peak=around(-39, -36, -34))
    assert "weaker" in alerts.todo_sentence(POOLISH, old, Reader(UTC))
    assert "weaker" in said(AlertKind.PAST_PEAK, old, POOLISH)


def test_a_dough_that_does_not_rise_is_told_with_its_cause_and_what_to_do() -> None:
    alert = Alert(Subject.batch(LOAF.id), AlertKind.NOT_RISING, 1, NINE, NINE, reason=NoRise(Cause.NO_LIVE_YEAST))
    lifeless = outlook(State.NOT_RISING, ready=Moments(), peak=Moments(), cause=Cause.NO_LIVE_YEAST)
    text = alerts.alert_text(alert, Facts(LOAF, lifeless, NINE, SEEN), reader=Reader(UTC))
    assert "It has not begun to rise after 2 h: no live yeast in it, it seems. Look whether the yeast went in." in text
    starter = alerts.alert_text(alert, Facts(POOLISH, lifeless, NINE, SEEN), reader=Reader(UTC))
    assert "begin it again with a lively one" in starter
    assert "knead" not in starter


@pytest.mark.parametrize(
    "kind", [ObstructionKind.LID, ObstructionKind.CONDENSATION, ObstructionKind.BLIND_ZONE, ObstructionKind.AWAY]
)
def test_what_blocks_the_view_is_named_with_since_when_and_what_to_do(kind: ObstructionKind) -> None:
    alert = Alert(Subject.batch(LOAF.id), AlertKind.VIEW_BLOCKED, 1, NINE, NINE, reason=ViewBlocked(kind))
    seen = outlook(obstructions=(Obstruction(kind, at(-12), None, 0.9),))
    text = alerts.alert_text(alert, Facts(LOAF, seen, NINE, SEEN), reader=Reader(UTC))
    assert "has not seen the dough since 08:48" in text
    assert "ready about 09:51" in text.lower()
    assert "The sensor has not seen it since 08:48: look at it first." in said(AlertKind.READY, seen)
