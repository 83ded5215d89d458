"""What a central store has not been sent yet is found in the store itself, whoever wrote it."""

import sqlite3
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from harness import START

from monitor.alerts.dough import AlertKind, Change, Phase, Subject
from monitor.dough.outlook import Outlook, State
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.store import schema
from monitor.store.spool import STREAMS, Page
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

HERE, THERE = "https://here proofing rye", "https://there proofing rye"
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
TUB = Batch(
    BatchId(0), "Linden loaf", Stage.FIRST_RISE, START, Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0),
)  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def reading(seq: int) -> Reading:
    at = START + timedelta(seconds=seq)
    return Reading(NODE, "0a0a0a0a", seq, Channel.AIR_TEMP, 25.0, at, at)


def take(store: Store, stream: str, target: str = HERE, most: int = 100) -> Page:
    page = store.spool.unsent(target, stream, most)
    if page:
        store.spool.mark_sent(target, page, [], START)
    return page


def step(store: Store) -> BatchId:
    """A batch with one outlook and one change of an alert."""
    batch = store.batches.add(TUB)
    change = Change(Subject.batch(batch.id), AlertKind.READY, 1, START, Phase.UNACKNOWLEDGED)
    store.save_step(batch.id, Outlook(START, State.NO_RISE), [], [], [change])
    return batch.id


def test_a_row_is_handed_out_until_it_is_noted_as_sent(store: Store) -> None:
    store.readings.add(map(reading, range(1, 4)))
    first = store.spool.unsent(HERE, "reading", 2)
    assert [row.values["seq"] for row in first] == [1, 2]
    assert store.spool.unsent(HERE, "reading", 2) == first
    store.spool.mark_sent(HERE, first, [], START)
    assert [row.values["seq"] for row in take(store, "reading")] == [3]
    assert take(store, "reading") == []


def test_each_stream_hands_out_what_its_points_are_made_of(store: Store) -> None:
    batch_id = step(store)
    store.readings.add([reading(1), reading(4000), reading(4001)])
    month = timedelta(days=30)
    store.rollups.step(START + 2 * month, START + month)
    found = {stream: take(store, stream)[0].values for stream in STREAMS}
    assert (found["reading"]["node"], found["reading"]["channel"]) == (NODE, "air_temp_c")
    assert (found["outlook"]["batch_id"], found["outlook"]["dough"], found["outlook"]["stage"]) == (
        batch_id, "Linden loaf", "first rise",
    )  # fmt: skip
    assert (found["reading_5m"]["n"], found["reading_5m"]["mean"]) == (1, 25.0)
    assert (found["alert"]["subject"], found["alert"]["phase"]) == (f"batch {batch_id}", "unacknowledged")


def test_each_target_is_sent_everything(store: Store) -> None:
    store.readings.add([reading(1)])
    take(store, "reading", HERE)
    assert len(take(store, "reading", THERE)) == 1


def test_what_cannot_be_taken_is_kept_apart_and_tried_again_on_demand(store: Store) -> None:
    store.readings.add(map(reading, range(1, 8)))
    page = store.spool.unsent(HERE, "reading", 10)
    store.spool.mark_sent(HERE, page, [(page[k], "no such type") for k in (1, 3, 5)], START)
    assert store.spool.parked(HERE) == [("reading", number, "no such type") for number in (2, 4, 6)]
    assert store.spool.backlog(HERE).parked == 3
    assert store.spool.parked(THERE) == []
    pages = list(store.spool.parked_pages(HERE, 2))
    assert [[row.number for row in each] for each in pages] == [[2, 4], [6]]
    store.spool.mark_sent(HERE, pages[0], [(pages[0][1], "still not")], START)
    assert store.spool.parked(HERE) == [("reading", 4, "still not"), ("reading", 6, "no such type")]
    assert take(store, "reading") == []


def test_the_backlog_says_how_many_rows_wait_and_since_when(store: Store) -> None:
    step(store)
    store.readings.add(map(reading, range(1, 11)))
    backlog = store.spool.backlog(HERE)
    assert (backlog.rows, backlog.oldest_at) == (12, START)
    for stream in STREAMS:
        take(store, stream)
    assert (store.spool.backlog(HERE).rows, store.spool.backlog(HERE).oldest_at) == (0, None)


def test_sent_again_from_the_beginning_everything_comes_once_more(store: Store) -> None:
    store.readings.add([reading(1)])
    take(store, "reading")
    store.spool.send_again(HERE)
    assert len(take(store, "reading")) == 1


def test_a_file_from_before_goes_on_where_it_was_and_notes_nothing_any_more(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    before = next(n for n, (purpose, _) in enumerate(schema.MIGRATIONS) if purpose.startswith("a central store is"))
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:before])
    connection.execute("INSERT INTO vessel VALUES ('tub', '{}')")
    connection.execute("INSERT INTO sensor VALUES (1, ?, 'air_temp_c')", (NODE,))
    connection.execute("INSERT INTO boot VALUES (1, ?, 'a')", (NODE,))
    connection.executemany("INSERT INTO sample VALUES (?, 1, 1, ?, 20, NULL, 5, 5, 'ok')", [(1, 1), (2, 2)])
    connection.executemany(
        "INSERT INTO spool VALUES (?, ?, 1)", [(HERE, "reading"), (HERE, "touched"), (HERE, "delivery")]
    )
    connection.close()
    with Store(path) as store:
        assert [row.number for row in take(store, "reading")] == [2]
        with store.reading() as looked:
            left = {row["name"] for row in looked.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
            assert left == set()
            assert looked.execute("SELECT 1 FROM sqlite_master WHERE name = 'touched'").fetchone() is None
            assert [row["stream"] for row in looked.execute("SELECT DISTINCT stream FROM spool")] == ["reading"]
