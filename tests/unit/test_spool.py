"""What a central store has not been sent yet is found in the store itself, whoever wrote it."""

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from harness import START

from monitor.alerts.dough import Alert, AlertKind, Subject
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.intent import Judgement, Verdict
from monitor.recipe.vessel import Shape, Vessel
from monitor.store import schema
from monitor.store.spool import STANDING, STREAMS, WATCHED, Page
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

HERE, THERE = "https://here proofing rye", "https://there proofing rye"
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TUB = Batch(
    BatchId(0), "Linden loaf", Stage.FIRST_RISE, START, Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0),
)  # fmt: skip
NOT_SENT = {
    "quarantine": "frames that mean nothing, for a person at the site",
    "touched": "the spool itself",
    "spool": "the spool itself",
    "parked": "the spool itself",
    "sample": "sent as the view reading has it",
    "sensor": "a name in that view",
    "boot": "a name in that view",
    "schema_version": "of the file, not of the bakery",
}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def reading(seq: int) -> Reading:
    at = START + timedelta(seconds=seq)
    return Reading(NODE, "0a0a0a0a", seq, Channel.AIR_TEMP, 25.0, at, at)


def take(store: Store, stream: str, target: str = HERE, most: int = 100) -> Page:
    page = store.spool.unsent(target, stream, most)
    store.spool.mark_sent(target, page, [], START, 1)
    return page


def names(page: Page) -> list[tuple[str, int]]:
    return [(row.table, row.number) for row in page.rows]


def test_a_row_is_handed_out_until_it_is_noted_as_sent(store: Store) -> None:
    store.readings.add(map(reading, range(1, 4)))
    first = store.spool.unsent(HERE, "reading", 2)
    assert [row.values["seq"] for row in first.rows] == [1, 2]
    assert store.spool.unsent(HERE, "reading", 2) == first
    store.spool.mark_sent(HERE, first, [], START, 1)
    assert [row.values["seq"] for row in take(store, "reading").rows] == [3]
    assert take(store, "reading").rows == ()


def test_each_target_is_sent_everything(store: Store) -> None:
    store.readings.add([reading(1)])
    take(store, "reading", HERE)
    assert len(take(store, "reading", THERE).rows) == 1


def test_a_row_that_changes_is_sent_again_and_stands_once(store: Store) -> None:
    batch = store.batches.add(TUB)
    assert names(take(store, "touched")) == [("batch", batch.id)]
    store.batches.add_event(batch.id, Event(START + timedelta(hours=1), EventKind.END))
    page = take(store, "touched")
    assert names(page) == [("event", 1), ("batch", batch.id)]
    assert page.rows[1].values["ended_us"] is not None
    assert page.rows[0].begun_us == page.rows[1].values["started_us"]


def test_a_row_written_anew_without_a_change_is_not_sent_again(store: Store) -> None:
    alert = Alert(Subject.batch(store.batches.add(TUB).id), AlertKind.READY, 1, START)
    store.alerts.save([alert], [], [], START)
    take(store, "touched")
    store.alerts.save([alert], [], [], START)
    assert take(store, "touched").rows == ()
    store.alerts.save([replace(alert, fired_at=START)], [], [], START)
    assert names(take(store, "touched")) == [("alert", 1)]


def test_a_row_that_replaces_another_is_sent(store: Store) -> None:
    batch = store.batches.add(TUB)
    store.reviews.save_judgement(batch.id, Judgement(START, Verdict.UNDER, ""))
    take(store, "touched")
    store.reviews.save_judgement(batch.id, Judgement(START, Verdict.RIGHT, ""))
    (row,) = take(store, "touched").rows
    assert row.values["verdict"] == "right"


def test_an_outlook_is_sent_when_it_is_new_and_when_it_is_put_right(store: Store) -> None:
    batch = store.batches.add(TUB)
    take(store, "touched")
    outlook = Outlook(START, State.NO_RISE)
    store.save_step(batch.id, outlook, [], [])
    assert len(take(store, "outlook").rows) == 1
    assert take(store, "touched").rows == ()
    store.save_step(batch.id, replace(outlook, state=State.RISING), [], [])
    (row,) = take(store, "touched").rows
    assert (row.table, row.begun_us) == ("outlook", 1772430000000000)


def test_what_cannot_be_taken_is_kept_apart_and_tried_again_on_demand(store: Store) -> None:
    store.readings.add(map(reading, range(1, 4)))
    page = store.spool.unsent(HERE, "reading", 10)
    store.spool.mark_sent(HERE, page, [(page.rows[1], "no such type")], START, 1)
    assert store.spool.parked(HERE) == [("reading", 2, "no such type")]
    assert store.spool.backlog(HERE).parked == 1
    assert store.spool.parked(THERE) == []
    assert store.spool.unpark(HERE) == 1
    assert store.spool.parked(HERE) == []
    assert names(take(store, "touched")) == [("reading", 2)]


def test_the_time_of_deliveries_never_goes_back(store: Store) -> None:
    store.spool.mark_sent(HERE, Page("reading", 0, ()), [], START, 500)
    store.spool.mark_sent(HERE, Page("reading", 0, ()), [], START, 400)
    store.spool.send_again(HERE)
    assert store.spool.delivered_ns(HERE) == 500


def test_the_backlog_says_how_many_rows_wait_and_since_when(store: Store) -> None:
    store.batches.add(TUB)
    store.readings.add(map(reading, range(1, 11)))
    backlog = store.spool.backlog(HERE)
    assert (backlog.rows, backlog.oldest_at) == (11, START + timedelta(seconds=1))
    for stream in STREAMS:
        take(store, stream)
    assert (store.spool.backlog(HERE).rows, store.spool.backlog(HERE).oldest_at) == (0, None)


def test_sent_again_from_the_beginning_everything_comes_once_more(store: Store) -> None:
    batch = store.batches.add(TUB)
    for stream in STREAMS:
        take(store, stream)
    store.spool.send_again(HERE)
    assert names(take(store, "touched")) == [("batch", batch.id)]


def test_a_file_from_before_is_sent_whole(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    before = next(n for n, (purpose, _) in enumerate(schema.MIGRATIONS) if purpose.startswith("what a central store"))
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:before])
    connection.execute("INSERT INTO vessel VALUES ('tub', '{}')")
    connection.close()
    with Store(path) as store:
        assert names(take(store, "touched")) == [("vessel", 1)]


def tables(path: Path) -> dict[str, set[str]]:
    """Every table with its columns."""
    Store(path).close()
    connection = sqlite3.connect(path)
    found = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return {
        name: {row[1] for row in connection.execute(f"PRAGMA table_info({name})")}
        for name in found
        if not name.startswith("sqlite_")
    }


def test_every_table_is_sent_or_there_is_a_reason_why_not(tmp_path: Path) -> None:
    found = tables(tmp_path / "proofing.sqlite")
    assert found.keys() == {*WATCHED, *STANDING, "outlook", *NOT_SENT}


@pytest.mark.parametrize("table", [*WATCHED, "outlook"])
def test_a_change_of_any_column_is_noted(table: str, tmp_path: Path) -> None:
    columns = tables(tmp_path / "proofing.sqlite")[table]
    connection = sqlite3.connect(tmp_path / "proofing.sqlite")
    (trigger,) = connection.execute(
        "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = ?", (f"{table}_changed",)
    ).fetchone()
    never_change = {"id"} if table != "outbox" else set()
    never_change |= {"batch_id", "at_us"} if table == "outlook" else set()
    assert {name for name in columns - never_change if f"OLD.{name} IS NOT NEW.{name}" not in trigger} == set()
