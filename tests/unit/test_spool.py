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
from monitor.store.reviews import Reviews
from monitor.store.spool import STANDING, STREAMS, WATCHED, Page, Spool
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
def spool(tmp_path: Path) -> Iterator[Spool]:
    with Spool(tmp_path / "proofing.sqlite") as opened:
        yield opened


def reading(seq: int) -> Reading:
    at = START + timedelta(seconds=seq)
    return Reading(NODE, "0a0a0a0a", seq, Channel.AIR_TEMP, 25.0, at, at)


def take(spool: Spool, stream: str, target: str = HERE, most: int = 100) -> Page:
    page = spool.unsent(target, stream, most)
    spool.is_sent(target, page, [], START, 1)
    return page


def names(page: Page) -> list[tuple[str, int]]:
    return [(row.table, row.number) for row in page.rows]


def test_a_row_is_handed_out_until_it_is_noted_as_sent(spool: Spool) -> None:
    spool.append(map(reading, range(1, 4)))
    first = spool.unsent(HERE, "reading", 2)
    assert [row.values["seq"] for row in first.rows] == [1, 2]
    assert spool.unsent(HERE, "reading", 2) == first
    spool.is_sent(HERE, first, [], START, 1)
    assert [row.values["seq"] for row in take(spool, "reading").rows] == [3]
    assert take(spool, "reading").rows == ()


def test_each_target_is_sent_everything(spool: Spool) -> None:
    spool.append([reading(1)])
    take(spool, "reading", HERE)
    assert len(take(spool, "reading", THERE).rows) == 1


def test_a_row_that_changes_is_sent_again_and_stands_once(spool: Spool) -> None:
    batch = spool.add_batch(TUB)
    assert names(take(spool, "touched")) == [("batch", batch.id)]
    spool.add_event(batch.id, Event(START + timedelta(hours=1), EventKind.END))
    page = take(spool, "touched")
    assert names(page) == [("event", 1), ("batch", batch.id)]
    assert page.rows[1].values["ended_us"] is not None
    assert page.rows[0].begun_us == page.rows[1].values["started_us"]


def test_a_row_written_anew_without_a_change_is_not_sent_again(spool: Spool) -> None:
    alert = Alert(Subject.batch(spool.add_batch(TUB).id), AlertKind.READY, 1, START)
    spool.save_alerts([alert], [], [], START)
    take(spool, "touched")
    spool.save_alerts([alert], [], [], START)
    assert take(spool, "touched").rows == ()
    spool.save_alerts([replace(alert, fired_at=START)], [], [], START)
    assert names(take(spool, "touched")) == [("alert", 1)]


def test_a_row_that_replaces_another_is_sent(tmp_path: Path) -> None:
    with Reviews(tmp_path / "proofing.sqlite") as book, Spool(tmp_path / "proofing.sqlite") as spool:
        batch = book.add_batch(TUB)
        book.save_judgement(batch.id, Judgement(START, Verdict.UNDER, ""))
        take(spool, "touched")
        book.save_judgement(batch.id, Judgement(START, Verdict.RIGHT, ""))
        (row,) = take(spool, "touched").rows
        assert row.values["verdict"] == "right"


def test_an_outlook_is_sent_when_it_is_new_and_when_it_is_put_right(spool: Spool) -> None:
    batch = spool.add_batch(TUB)
    take(spool, "touched")
    outlook = Outlook(START, State.NO_RISE)
    spool.save_step(batch.id, outlook, [], [])
    assert len(take(spool, "outlook").rows) == 1
    assert take(spool, "touched").rows == ()
    spool.save_step(batch.id, replace(outlook, state=State.RISING), [], [])
    (row,) = take(spool, "touched").rows
    assert (row.table, row.begun_us) == ("outlook", 1772430000000000)


def test_what_cannot_be_taken_is_kept_apart_and_tried_again_on_demand(spool: Spool) -> None:
    spool.append(map(reading, range(1, 4)))
    page = spool.unsent(HERE, "reading", 10)
    spool.is_sent(HERE, page, [(page.rows[1], "no such type")], START, 1)
    assert spool.parked(HERE) == [("reading", 2, "no such type")]
    assert spool.backlog(HERE).parked == 1
    assert spool.parked(THERE) == []
    assert spool.unpark(HERE) == 1
    assert spool.parked(HERE) == []
    assert names(take(spool, "touched")) == [("reading", 2)]


def test_the_time_of_deliveries_never_goes_back(spool: Spool) -> None:
    spool.is_sent(HERE, Page("reading", 0, ()), [], START, 500)
    spool.is_sent(HERE, Page("reading", 0, ()), [], START, 400)
    spool.send_again(HERE)
    assert spool.delivered_ns(HERE) == 500


def test_the_backlog_says_how_many_rows_wait_and_since_when(spool: Spool) -> None:
    spool.add_batch(TUB)
    spool.append(map(reading, range(1, 11)))
    backlog = spool.backlog(HERE)
    assert (backlog.rows, backlog.oldest_at) == (11, START + timedelta(seconds=1))
    for stream in STREAMS:
        take(spool, stream)
    assert (spool.backlog(HERE).rows, spool.backlog(HERE).oldest_at) == (0, None)


def test_sent_again_from_the_beginning_everything_comes_once_more(spool: Spool) -> None:
    batch = spool.add_batch(TUB)
    for stream in STREAMS:
        take(spool, stream)
    spool.send_again(HERE)
    assert names(take(spool, "touched")) == [("batch", batch.id)]


def test_a_file_from_before_is_sent_whole(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    before = next(n for n, (purpose, _) in enumerate(schema.MIGRATIONS) if purpose.startswith("what a central store"))
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:before])
    connection.execute("INSERT INTO vessel VALUES ('tub', '{}')")
    connection.close()
    with Spool(path) as spool:
        assert names(take(spool, "touched")) == [("vessel", 1)]


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
