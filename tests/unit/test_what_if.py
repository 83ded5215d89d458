"""`batch what-if`: questions about a running dough, answered in a baker's words."""

from datetime import UTC, time, timedelta

import numpy as np
import pytest
from click.testing import CliRunner
from harness import START, SetClock
from made_up import batch_of, readings_of

from monitor.collector.learner import learn_next
from monitor.commands.what_if import what_if
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage
from monitor.recipe.vessel import Shape, Vessel, level_mm, volume_ml
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading
from monitor.wording.times import next_time

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TRAY = Vessel(Shape.RECTANGULAR, (300.0, 60.0), (300.0, 60.0), 250.0, 300.0)


@pytest.fixture
def ask(tmp_path, monkeypatch):
    batch = Batch(
        BatchId(0), "Oat loaf, tray 1", Stage.FIRST_RISE, START, TRAY,
        nodes=tuple((channel, NODE) for channel in (Channel.AIR_TEMP, Channel.DOUGH_TEMP, Channel.DISTANCE)),
    )  # fmt: skip
    t_s = np.arange(0.0, 1501.0, 30.0)
    rise = 0.07 * np.logaddexp(0.0, (t_s / 3600.0 - 0.4) / 0.2)
    distance = 300.0 - level_mm(TRAY, volume_ml(TRAY, 70.0) * (1.0 + rise))
    readings = []
    for seq, (at_s, mm) in enumerate(zip(t_s, distance, strict=True), start=1):
        at = START + timedelta(seconds=float(at_s))
        for channel, value in ((Channel.AIR_TEMP, 24.0), (Channel.DOUGH_TEMP, 24.0), (Channel.DISTANCE, float(mm))):
            readings.append(Reading(NODE, "0a0a0a0a", seq, channel, value, at, at))
    with Store(tmp_path / "proofing.sqlite") as store:
        store.readings.add(readings)
        store.batches.add(batch)
    now = START + timedelta(minutes=25)
    monkeypatch.setattr("monitor.store.pace.clock_of", lambda store: SetClock(now))

    def asked(**chosen):
        words = ["1", "--data-dir", str(tmp_path)]
        for name, value in chosen.items():
            words += [f"--{name.replace('_', '-')}", f"{value:%H:%M}" if isinstance(value, time) else str(value)]
        return CliRunner().invoke(what_if, words, standalone_mode=False, catch_exceptions=False).output.splitlines()

    asked.place = tmp_path
    return asked


def clock(moment):
    return time(moment.hour, moment.minute)


def test_other_air_is_answered_beside_as_now(ask):
    as_now, warmer = ask(air=30.0)
    assert as_now.startswith("as now: ready about")
    assert warmer.startswith("in air of 30.0 °C (86.0 °F): ready about")


def test_a_night_in_the_refrigerator(ask):
    now = START + timedelta(minutes=25)
    _, cold = ask(cold_from=clock(now + timedelta(minutes=5)), cold_until=clock(now + timedelta(hours=8)))
    assert cold.startswith("refrigerated: ready about")


def test_a_wanted_hour_gets_its_air_or_its_moment_out_of_the_cold(ask):
    now = START + timedelta(minutes=25)
    _, out = ask(cold_from=clock(now + timedelta(minutes=1)), ready_at=clock(now + timedelta(hours=10)))
    assert "take it out at" in out
    _, never = ask(ready_at=clock(now + timedelta(minutes=10)))
    assert never.startswith("no air between")


def test_what_the_recipe_taught_counts_in_every_answer(ask):
    now = START + timedelta(minutes=25)
    night, breakfast = clock(now + timedelta(minutes=1)), clock(now + timedelta(hours=10))
    questions = (
        {"air": 30.0},
        {"cold_from": night, "cold_until": clock(now + timedelta(hours=8))},
        {"cold_from": night, "ready_at": breakfast},
        {"ready_at": clock(now + timedelta(hours=6))},
    )
    unlearned = [ask(**question) for question in questions]
    with Store(ask.place / "proofing.sqlite") as store:
        for days in (1, 2, 3):  # a quicker dough than this one has shown itself to be so far
            before = batch_of("Oat loaf, tray 1", day=-days)
            store.readings.add(readings_of(before, per_h=1.1, hours=3.0, seed=days))
            kept = store.batches.add(before)
            store.batches.add_event(kept.id, Event(before.started_at + timedelta(hours=3), EventKind.END))
            learn_next(store, now)
        assert len(store.lessons.all("oat loaf")) == 3
    for question, without in zip(questions, unlearned, strict=True):
        as_now, answer = ask(**question)
        assert as_now != without[0]
        assert answer != without[1]


def test_an_empty_question_says_what_can_be_asked(ask):
    with pytest.raises(ConfigError, match="say what if"):
        ask()


def test_an_ended_batch_is_not_asked(ask):
    with Store(ask.place / "proofing.sqlite") as store:
        store.batches.add_event(BatchId(1), Event(START + timedelta(minutes=20), EventKind.END))
    with pytest.raises(StoreError, match="has ended"):
        ask(air=30.0)


def test_a_wall_time_that_is_past_is_tomorrows():
    assert next_time(time(4, 0), START.replace(hour=5, minute=0), UTC) == START.replace(hour=4, minute=0) + timedelta(
        days=1
    )
