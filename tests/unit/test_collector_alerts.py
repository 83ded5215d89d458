"""Alerts in the loop: kept and said once, over restarts, sleep, clocks that are set, and disorder."""

import random
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from collector_bench import NODE, Bench, StepClock, batch, pack, pass_minutes
from harness import START

from monitor.alerts.dough import AlertKind, Phase
from monitor.dough.outlook import Band, Moments, Outlook, State
from monitor.dough.track import Track
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, Event, EventKind
from monitor.store.store import Store


@pytest.fixture
def bench(store: Store) -> Bench:
    return Bench(store, StepClock())


def test_alerts_are_kept_and_said_once_over_a_restart(bench: Bench) -> None:
    running = bench.store.batches.add(batch())

    def ready(asked: Batch, track: Track, at: datetime) -> Outlook:
        moment = START + timedelta(minutes=3)
        return Outlook(
            at,
            State.READY if at >= moment else State.RISING,
            rise_pct=Band(70.0, 75.0, 80.0),
            ready=Moments(moment, moment, moment, moment, moment),
            last_reading_at=at,
        )

    bench.answer = ready
    for minute in range(12):
        bench.frame(pack(minute + 1))
        bench.turn(2)
        bench.clock.advance(minutes=1)
        if minute == 6:
            bench.collector = bench.another()
    kinds = [message.kind for message in bench.store.outbox.messages(running.id)]
    assert kinds.count(AlertKind.READY) == 1
    assert len(bench.store.outbox.open_messages()) == len(kinds)


def test_silent_node_is_one_alert_however_many_batches_it_serves(bench: Bench) -> None:
    for name in ("one", "two", "three"):
        bench.store.batches.add(batch(name=name))
    bench.frame(pack())
    pass_minutes(bench, 20)
    (message,) = bench.store.outbox.messages()
    assert (message.kind, message.batch_id) == (AlertKind.NODE_SILENT, None)
    assert NODE in message.title
    assert all(f"{name}: " in message.text for name in ("one", "two", "three"))


def test_silent_node_tells_once_more_of_the_dough_that_should_be_ready(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    ready_at = START + timedelta(minutes=20)
    bench.answer = lambda asked, track, at: Outlook(at, State.RISING, ready=Moments(*[ready_at] * 5))
    bench.frame(pack())
    pass_minutes(bench, 40)
    told = [(message.kind, message.title) for message in reversed(bench.store.outbox.messages())]
    assert told == [
        (AlertKind.NODE_SILENT, f"Node {NODE}: node silent"),
        (AlertKind.NODE_SILENT, "Plain tub: look yourself, node silent"),
    ]
    phases = {alert.kind: alert.phase for alert in bench.store.alerts.all(running.id) if alert.is_firing}
    assert set(phases.values()) == {Phase.SUPPRESSED}


def test_alert_is_kept_with_what_caused_it(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    (change,) = bench.store.alerts.history(running.id)
    (message,) = bench.store.outbox.messages(running.id)
    assert (change.kind, change.phase) == (AlertKind.READY, Phase.UNACKNOWLEDGED)
    assert change.at == change.outlook_at == message.created_at
    assert change.outlook_at in [outlook.at for outlook in bench.store.outlooks.of(running.id)]
    assert [cause.split()[:4] for cause in change.readings] == [
        [NODE, "0a1b2c3d", "2", "air_temp_c"],
        [NODE, "0a1b2c3d", "2", "distance_mm"],
    ]


def test_step_that_cannot_be_kept_leaves_neither_outlook_nor_alert_nor_message(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What caused an alert, the alert and its message are one transaction: the last statement of it fails here."""
    running = bench.store.batches.add(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))

    def heard(minute: int) -> None:
        bench.frame(pack(bench.clock.now().minute))

    pass_minutes(bench, 1, each=heard)
    outlooks = len(bench.store.outlooks.of(running.id))

    def fail(connection: object, changes: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr("monitor.store.alerts.put_changes", fail)
    bench.clock.advance(minutes=1)
    with pytest.raises(StoreError):
        pass_minutes(bench, 1, each=heard)
    assert len(bench.store.outlooks.of(running.id)) == outlooks
    assert [alert.is_holding for alert in bench.store.alerts.all(running.id)] == [True]
    assert bench.store.outbox.messages() == []
    monkeypatch.undo()
    pass_minutes(bench, 3, each=heard)
    assert [message.kind for message in bench.store.outbox.messages()] == [AlertKind.READY]


def test_batch_that_ended_while_nobody_was_here_leaves_no_alert_standing(bench: Bench) -> None:
    running = bench.store.batches.add(batch())
    bench.answer = lambda asked, track, at: Outlook(at, State.READY, ready=Moments(*[START] * 5))
    pass_minutes(bench, 3, each=lambda minute: bench.frame(pack(minute + 1)))
    assert bench.store.alerts.active()
    bench.store.batches.add_event(running.id, Event(bench.clock.now(), EventKind.END))
    bench.clock.advance(hours=1)
    bench.collector = bench.another()
    bench.turn()
    assert bench.store.alerts.active() == []


def air_alerts_of(bench: Bench, frames_by_minute: dict[int, list[bytes]]) -> list[tuple[str, int, datetime | None]]:
    """The alerts that come of some frames; the air is judged by the newest reading of the track."""

    def estimate(asked: Batch, track: Track, at: datetime) -> Outlook:
        air = float(track.air_temp_c.value[-1]) if track.air_temp_c.t_s.size else None
        return Outlook(at, State.RISING, ready=Moments(*[at + timedelta(hours=9)] * 5), air_temp_c=air)

    bench.answer = estimate
    running = bench.store.batches.add(batch())
    pass_minutes(bench, 40, each=lambda minute: [bench.frame(data) for data in frames_by_minute.get(minute, [])])
    return [(alert.kind.value, alert.episode, alert.called_at) for alert in bench.store.alerts.all(running.id)]


def test_duplicates_and_disorder_change_no_alert(tmp_path: Path) -> None:
    plain = {minute: [pack(minute + 1, air_c=36.0 if minute > 9 else 24.0)] for minute in range(40)}
    rng = random.Random(5)
    messy = {minute: rng.choices(frames, k=rng.randint(1, 5)) for minute, frames in plain.items()}
    for minute in range(1, 40):  # and what came a few minutes ago comes again, out of order
        earlier = rng.sample(range(minute), k=min(minute, 3))
        messy[minute] = [
            *[pack(e + 1, air_c=36.0 if e > 9 else 24.0, age_s=60.0 * (minute - e)) for e in earlier],
            *messy[minute],
        ]
    found = []
    for name, frames in (("plain", plain), ("messy", messy)):
        with Store(tmp_path / f"{name}.sqlite") as store:
            found.append(air_alerts_of(Bench(store, StepClock()), frames))
    assert found[0] == found[1]
    assert [kind for kind, _, _ in found[0]] == ["air too warm"]


def test_late_readings_raise_no_alert_about_the_past(bench: Bench) -> None:
    """An hour's readings of hot air come after the air has long been right again."""
    frames = {minute: [pack(minute + 1)] for minute in range(40)}
    frames[30] += [pack(1000 + n, air_c=40.0, age_s=60.0 * (20 - n)) for n in range(15)]
    assert air_alerts_of(bench, frames) == []
