"""Readings of old batches packed into blocks: which, when, that a stop changes nothing, and the way back."""

import random
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from harness import killed_in_a_step
from made_up_rows import CABINET, NODE, START, at, batch, reading

from monitor.archive.backup import back_up, restore, rows_apart, verified
from monitor.archive.batch_files import archive_batch, import_batch
from monitor.archive.downsampling import LOOK_S, Downsampler
from monitor.cli import main
from monitor.clock import SystemClock, wall_clock
from monitor.errors import StoreError
from monitor.recipe.batch import BatchId
from monitor.settings.upkeep import Upkeep
from monitor.store import blocks
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId, Reading

UNTIL = START + timedelta(days=20)
NOW = UNTIL + timedelta(days=30)
TARGET = "https://here proofing rye"
BAKED = batch(
    started_at=at(60), ended_at=at(360), events=(), nodes=((Channel.AIR_TEMP, NODE), (Channel.HUMIDITY, NODE))
)


def air(minutes: float, node: NodeId = NODE) -> Reading:
    return reading(minutes, Channel.AIR_TEMP, round(25.0 + minutes % 7 / 10, 2), node=node)


def day() -> list[Reading]:
    """Eight hours, each half a minute; both nodes long after, so that nothing before is their newest."""
    heard = [air(n / 2) for n in range(960)]
    damp = [replace(each, channel=Channel.HUMIDITY, value=each.value + 40.0) for each in heard]
    return [*heard, *damp, *(air(29 * 24 * 60.0, node) for node in (NODE, CABINET))]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        opened.batches.add(BAKED)
        opened.readings.add(day())
        yield opened


def packed(store: Store, **asked: object) -> int:
    return sum(store.blocks.packing(NOW, UNTIL, **asked))  # type: ignore[arg-type]


def rows_of(store: Store) -> list[tuple[object, ...]]:
    return [tuple(row) for row in store._connection.execute("SELECT * FROM sample ORDER BY id")]


OF_BATCH = 2 * (120 * 7 + 10)
"""From an hour before its start to the end of the five minutes in which the hour after its end lies."""


def test_a_batchs_readings_are_packed_once_small_and_come_back_as_they_were(store: Store) -> None:
    before, rows = store.readings.track(BAKED), rows_of(store)
    assert store.blocks.due(UNTIL) == 1
    assert packed(store) == OF_BATCH
    assert (store.blocks.due(UNTIL), packed(store)) == (0, 0)
    assert len(rows_of(store)) == len(rows) - OF_BATCH
    assert repr(store.readings.track(BAKED)) == repr(before)
    size = store._connection.execute("SELECT sum(length(body)) FROM block").fetchone()[0]
    assert size < OF_BATCH
    assert sum(store.blocks.unpacking(NOW)) == OF_BATCH
    assert rows_of(store) == rows


def test_only_batches_that_ended_long_enough_ago(store: Store) -> None:
    store.batches.add(replace(BAKED, nodes=((Channel.AIR_TEMP, CABINET),), ended_at=None))
    until = at(360) + timedelta(hours=1)
    assert sum(store.blocks.packing(NOW, until)) == 0
    assert sum(store.blocks.packing(NOW, until + timedelta(seconds=1))) > 0


def test_what_a_centre_has_not_been_sent_or_could_not_take_waits(store: Store) -> None:
    assert packed(store, target=TARGET) == 0
    page = store.spool.unsent(TARGET, "reading", 999)
    store.spool.mark_sent(TARGET, page, [(page[500], "no such type")], NOW)
    n = packed(store, target=TARGET)
    assert 0 < n < OF_BATCH
    assert page[500].number in {row[0] for row in rows_of(store)}
    assert packed(store) == OF_BATCH - n - 1


def test_a_centre_that_is_sent_everything_anew_is_sent_what_is_packed(store: Store) -> None:
    def drained() -> list[object]:
        found: list[object] = []
        while page := store.spool.unsent(TARGET, "reading", 70):
            found += page
            store.spool.mark_sent(TARGET, page, [], NOW)
        return found

    whole = drained()
    packed(store, target=TARGET)
    assert drained() == []
    store.spool.send_again(TARGET)
    assert drained() == whole


def test_a_step_that_fails_anywhere_changes_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = rows_of(store)
    for table in ("block", "sample", "packing"):

        def authorise(action: int, name: str | None, *_: object, table: str = table) -> int:
            is_write = action in (sqlite3.SQLITE_INSERT, sqlite3.SQLITE_DELETE)
            return sqlite3.SQLITE_DENY if is_write and name == table else sqlite3.SQLITE_OK

        store._connection.set_authorizer(authorise)
        with pytest.raises(StoreError):
            packed(store)
        store._connection.set_authorizer(None)
        assert (rows_of(store), store.blocks.held(), store.blocks.history()) == (rows, 0, [])
    monkeypatch.setattr(blocks, "unpack", lambda _: ())
    with pytest.raises(ValueError, match="as they went in"):
        packed(store)
    assert rows_of(store) == rows


KILLED = """
import sys
from datetime import datetime
from pathlib import Path
from monitor.store import blocks
from monitor.store.store import Store
path, now, until = sys.argv[1:]
blocks._NEXT = blocks._NEXT.replace(f"LIMIT {blocks.MOST_ROWS}", "LIMIT 40")
with Store(Path(path)) as store:
    steps = store.blocks.packing(datetime.fromisoformat(now), datetime.fromisoformat(until))
    while sys.stdin.readline() and next(steps, None) is not None:
        print(flush=True)
"""


def test_killed_again_and_again_in_the_middle_nothing_is_lost(store: Store) -> None:
    rows, before = rows_of(store), repr(store.readings.of(BAKED))
    drawn, n_kills, is_done = random.Random(6), 0, False
    while not is_done:
        is_done = killed_in_a_step(
            KILLED,
            *(str(store.path), NOW.isoformat(), UNTIL.isoformat()),
            steps=drawn.randint(10, 14),
            within_s=drawn.uniform(0.0, 0.01),
        )
        n_kills += not is_done
        assert repr(store.readings.of(BAKED)) == before
    assert n_kills >= 2
    assert [line.readings for line in store.blocks.history()] == [OF_BATCH]
    assert sum(store.blocks.unpacking(NOW)) == OF_BATCH
    assert rows_of(store) == rows


def test_archives_and_backups_hold_what_is_packed(store: Store, tmp_path: Path) -> None:
    before = repr(store.readings.of(BAKED))
    packed(store)
    made = back_up(store.path, tmp_path, NOW)
    assert verified(made).readings == len(day())
    assert rows_apart(made, store.path) == 0
    restore(made, tmp_path / "elsewhere.sqlite", NOW)
    with Store(tmp_path / "elsewhere.sqlite") as other:
        assert repr(other.readings.of(BAKED)) == before
    folder = tmp_path / "archived"
    archive_batch(store, BatchId(1), folder)
    with Store(tmp_path / "new.sqlite") as other:
        assert repr(other.readings.of(import_batch(other, folder))) == before
    again = import_batch(store, folder)  # beside the one that is there: its readings are known
    assert again.id != BAKED.id
    assert repr(store.readings.of(again)) == before


def test_a_block_that_is_damaged_is_said_to_be(store: Store) -> None:
    packed(store)
    store._connection.execute("UPDATE block SET body = substr(body, 1, 200)")
    with pytest.raises(StoreError, match="damaged"):
        store.readings.track(BAKED)


def test_the_collector_packs_beside_its_work_when_the_keeper_has_set_it(store: Store) -> None:
    class Then(SystemClock):
        def now(self) -> object:  # type: ignore[override]
            return NOW

    for days, n in ((90, 0), (30, OF_BATCH)):
        turns = Downsampler(store.path, Upkeep(pack_after_days=days), Then(), lambda: True).turns(store)
        assert next(turns) == pytest.approx(LOOK_S, abs=5.0)
        while next(turns) < LOOK_S:
            pass
        assert store.blocks.held() == n
    (line,) = store.blocks.history()
    assert (line.readings, line.is_by_hand, line.is_back) == (OF_BATCH, False, False)


def test_by_hand(store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert wall_clock() > NOW

    def said(*words: str) -> str:
        assert main(["readings", *words, "--data-dir", str(tmp_path)]) == (2 if words == ("pack",) else 0)
        return "".join(capsys.readouterr())

    assert "pack_after_days" in said("pack")
    assert said("pack", "--after-days", "14") == "1 batch to be packed\n"
    assert said("pack", "--after-days", "14", "--yes") == "1700 readings packed\n"
    assert said("pack", "--after-days", "14") == "0 batches to be packed\n"
    assert said("unpack") == "1700 readings are packed; unpacked they take 0.0 GB\n"
    assert said("unpack", "--yes") == "1700 readings unpacked\n"
    lines = said("history").splitlines()
    assert [line.partition(": ")[2] for line in lines] == [
        "1700 readings unpacked, by hand", "1700 readings packed, by hand",
    ]  # fmt: skip
