"""The sentences a baker reads: complete, plain, and on the baker's own clock."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from monitor.alerts.dough import Alert, AlertKind, Facts, Message, Phase, Sort, Subject
from monitor.dough.outlook import Band, KeptText, Moments, NoForecast, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.wire.readings import Channel, NodeId
from monitor.wording import alerts
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
        (LOAF, outlook(why=KeptText("too little measured yet", "en")), "no forecast: too little measured yet",
         "then: divide and shape"),
        (replace(LOAF, ended_at=at(-1)), PAST, "ended 08:59; was ready 08:30", ""),
    ],
)  # fmt: skip
def test_sentence_and_task(batch: Batch, about: Outlook, sentence: str, todo: str) -> None:
    assert alerts.outlook_sentence(batch, about, Reader(UTC)) == sentence
    assert alerts.todo_sentence(batch, about, Reader(UTC)) == todo


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


def test_cautions_cover_their_four_subjects_and_defer_to_who_knows() -> None:
    titles = " ".join(caution.title.lower() for caution in alerts.CAUTIONS)
    assert all(subject in titles for subject in ("oven", "steam", "electricity", "food"))
    assert all(word in alerts.DEFERENCE for word in ("local codes", "manual", "licensed"))
    assert "never switches heat" in alerts.DEFERENCE
    assert "cannot tell whether food is safe" in alerts.CAUTIONS[-1].text
