"""Alerts on the command line: listed, seen, put off, looked back on, counted."""

from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.alerts.calls import Call
from monitor.alerts.dough import Alert, AlertKind, Change, Message, Phase, Sort, Subject
from monitor.alerts.reasons import TargetReached
from monitor.clock import SystemClock
from monitor.commands import alerts
from monitor.dough.outlook import Outlook, State
from monitor.errors import ConfigError, StoreError
from monitor.recipe.batch import Batch, BatchId, EventKind, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.store.store import Store


@pytest.fixture
def bakery(store: Store, tmp_path: Path) -> Path:
    """One batch that is ready, one silent node, called for ten minutes ago; in UTC."""
    (tmp_path / "config.toml").write_text('timezone = "UTC"\n')
    now = SystemClock().now()
    since = now - timedelta(minutes=10)
    tub = Vessel(Shape.ROUND, (180, 180), (210, 210), 250)
    batch = store.batches.add(Batch(BatchId(0), "Hill country loaf", Stage.FIRST_RISE, now - timedelta(hours=4), tub))
    ready = Alert(Subject.batch(batch.id), AlertKind.READY, 1, since, since, called_at=since)
    message = Message(ready.message_id, batch.id, ready.kind, 1, "title", "text", since)
    change = Change(
        ready.subject, ready.kind, 1, since, Phase.UNACKNOWLEDGED, TargetReached(), "", since, ("a reading",)
    )
    store.save_step(batch.id, Outlook(since, State.READY), (ready,), (message,), (change,))
    store.outbox.save_call(Call(message.id, 1, "baker", since, since, "phone", 1))
    store.outbox.save_call(Call(message.id, 2, "baker", since + timedelta(minutes=5), None))
    silent = Alert(Subject(Sort.NODE, "urn:dev:x"), AlertKind.NODE_SILENT, 1, since, since, called_at=since)
    store.alerts.save([silent], [], [], now)
    return tmp_path


def said(bakery: Path, *words: str) -> str:
    arguments = [*words, "--data-dir", str(bakery)]
    return CliRunner().invoke(alerts.command, arguments, standalone_mode=False, catch_exceptions=False).output


def test_list_shows_what_stands_with_numbers(bakery: Path) -> None:
    first, second, *unwatched = said(bakery, "list").splitlines()
    assert unwatched[0] == "No collector is running: nobody will be called."
    assert first.startswith("   1  Hill country loaf (batch 1): ready, since ")
    assert first.endswith(", nobody has seen it yet")
    assert second.startswith("   2  node urn:dev:x: node silent, since ")


def test_a_fold_that_is_seen_by_its_number_is_noted_and_one_of_all_is_not(bakery: Path, store: Store) -> None:
    now = SystemClock().now()
    due = Alert(Subject.batch(BatchId(1)), AlertKind.FOLD_DUE, 1, now, now, called_at=now)
    store.save_step(BatchId(1), Outlook(now, State.RISING), (due,), ())
    assert "fold now: seen" in said(bakery, "seen", "--all")
    assert store.batches.get(BatchId(1)).events == ()
    number = str(next(alert.number for alert in store.alerts.active() if alert.kind is AlertKind.FOLD_DUE))
    assert "fold now: seen" in said(bakery, "seen", number)
    assert [event.kind for event in store.batches.get(BatchId(1)).events] == [EventKind.FOLD]
    with pytest.raises(StoreError, match="is noted already"):
        said(bakery, "seen", number)


def test_acknowledged_alert_says_so_and_stands_until_it_is_over(bakery: Path) -> None:
    assert said(bakery, "seen", "1", "--by", "Ida") == "   1  Hill country loaf (batch 1): ready: seen\n"
    assert ", seen" in said(bakery, "list").splitlines()[0]
    assert "ready 1: acknowledged by Ida" in said(bakery, "history")
    assert "node silent" in said(bakery, "seen", "--all")
    assert "nobody has seen it yet" not in said(bakery, "list")


def test_shelved_alert_says_until_when_and_comes_back_when_wanted(bakery: Path) -> None:
    assert "it comes back by itself at" in said(bakery, "later", "1", "45m")
    assert "later, until" in said(bakery, "list")
    said(bakery, "now", "1")
    assert "nobody has seen it yet" in said(bakery, "list").splitlines()[0]


def test_history_tells_who_shelved_and_who_took_it_off_again(bakery: Path) -> None:
    said(bakery, "later", "1", "45m", "--by", "Ida")
    said(bakery, "now", "1")
    lines = [line for line in said(bakery, "history").splitlines() if not line.startswith(" ")]
    assert "ready 1: shelved by Ida" in lines[1]
    assert "ready 1: unacknowledged by somebody" in lines[2]


def test_calls_about_a_node_are_counted_apart(bakery: Path, store: Store) -> None:
    now = SystemClock().now()
    about = Message("node-urn:dev:x-node-silent-1", None, AlertKind.NODE_SILENT, 1, "title", "text", now)
    store.alerts.save([], [about], [], now)
    store.outbox.save_call(Call(about.id, 1, "baker", now, now, "phone", 1))
    counted = said(bakery, "count").splitlines()[-2:]
    assert [line.split() for line in counted] == [
        ["-", "1", "1", "nodes", "and", "lines"],
        ["1", "2", "1", "Hill", "country", "loaf"],
    ]


def test_history_shows_the_readings_and_the_outlook_behind_it(bakery: Path) -> None:
    lines = said(bakery, "history", "--batch", "1").splitlines()
    assert lines[0].endswith(
        "Hill country loaf (batch 1): ready 1: unacknowledged (it has reached what this stage waits for)"
    )
    assert lines[1] == "    reading a reading"
    assert lines[2].startswith("    outlook of ")
    assert said(bakery, "history", "--since", "2999-01-01T00:00:00Z") == "nothing has happened\n"


def test_count_shows_calls_by_night_and_by_batch(bakery: Path) -> None:
    lines = said(bakery, "count", "--nights", "3").splitlines()
    assert lines[0].split() == ["night", "calls", "alerts"]
    assert lines[4] == "batch              calls  alerts"
    assert lines[5].split() == ["1", "2", "1", "Hill", "country", "loaf"]


def test_wrong_numbers_and_nothing_named_are_refused_in_words(bakery: Path) -> None:
    with pytest.raises(StoreError, match="alerts list"):
        said(bakery, "seen", "99")
    with pytest.raises(ConfigError, match="--all"):
        said(bakery, "seen")
    with pytest.raises(StoreError, match="no batch was ever started here"):
        said(bakery / "elsewhere", "list")


def test_nothing_stands(store: Store, tmp_path: Path) -> None:
    assert said(tmp_path, "list").splitlines()[0] == "nothing calls for you"
    assert said(tmp_path, "seen", "--all") == "nothing calls for you\n"
