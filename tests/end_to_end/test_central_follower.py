"""From InfluxDB alone the stores of several sites are made again, and thrown away and made once more."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from central_site import NODE, TUB, drain, fill, reading
from harness import START
from influx import TOKEN, Influx

from monitor.dough.outlook import Outlook, State
from monitor.errors import StoreError
from monitor.recipe.batch import Event, EventKind
from monitor.settings.shops import Centre
from monitor.shops.follower import Follower, Span, spans_of
from monitor.shops.influx import Link
from monitor.shops.points import FAN_POINTS
from monitor.store.copies import copies_in, copy_of
from monitor.store.spool import WATCHED
from monitor.store.store import Store

pytestmark = pytest.mark.usefixtures("quick_retries")


@contextmanager
def following(folder: Path, influx: Influx, page_points: int = 1000) -> Iterator[Follower]:
    centre = Centre(influx.url)
    with Link(centre, TOKEN) as link:
        yield Follower(link, centre, folder, page_points=page_points)


def rows_of(path: Path, table: str) -> list[tuple[object, ...]]:
    """All rows of a table but its own numbers, in an order of their own."""
    connection = sqlite3.connect(path)
    names = [
        row[1] for row in connection.execute(f"PRAGMA table_info({table})") if (table, row[1]) != ("reading", "id")
    ]
    found = connection.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall()
    connection.close()
    return sorted(found, key=repr)


def test_a_copy_holds_what_the_site_holds_and_is_made_anew_when_it_is_gone(tmp_path: Path, influx: Influx) -> None:
    path, folder = tmp_path / "proofing.sqlite", tmp_path / "central"
    fill(path, 700)
    drain(path, influx)
    copy = copy_of(folder, "rye")
    for _ in range(2):
        with following(folder, influx) as follower:
            assert follower.look() > 2800
            assert follower.look() == 0
        for table in (*WATCHED, "node", "reading"):
            assert rows_of(copy, table) == rows_of(path, table), table
        whole, thin = rows_of(path, "outlook"), rows_of(copy, "outlook")
        assert [row[:3] for row in thin] == [row[:3] for row in whole]
        fan = json.loads(str(whole[0][3]))
        assert len(fan) > FAN_POINTS
        kept = json.loads(str(thin[0][3]))
        assert (len(kept), kept[0], kept[-1]) == (FAN_POINTS, fan[0], fan[-1])
        copy.unlink()


def test_what_comes_later_and_late_is_followed(tmp_path: Path, influx: Influx) -> None:
    path, folder = tmp_path / "proofing.sqlite", tmp_path / "central"
    fill(path, 60)
    drain(path, influx)
    with following(folder, influx) as follower:
        follower.look()
        with Store(path) as store:
            store.readings.add([reading(5001, -600.0), reading(5002, 120.0)])  # one that a node had kept for hours
            store.batches.add_event(store.batches.all()[0].id, Event(START + timedelta(hours=3), EventKind.END))
        drain(path, influx)
        assert 0 < follower.look() < 20
    copy = copy_of(folder, "rye")
    assert rows_of(copy, "reading") == rows_of(path, "reading")
    with Store(copy) as store:
        (batch,) = store.batches.ended()
        assert batch.ended_at == START + timedelta(hours=3)


def test_nobody_but_its_follower_writes_into_a_copy(tmp_path: Path) -> None:
    copy = copy_of(tmp_path, "rye")
    Store(copy, as_copy=True).close()
    with Store(copy) as store, pytest.raises(StoreError, match="is a copy of another site's store"):
        store.batches.add(TUB)
    assert copies_in(tmp_path) == {"rye": copy}


def test_after_a_site_lost_its_store_a_number_stands_for_the_later_batch(tmp_path: Path, influx: Influx) -> None:
    first, second, folder = tmp_path / "first.sqlite", tmp_path / "second.sqlite", tmp_path / "central"
    fill(first, 10)
    later = START + timedelta(days=2)
    with Store(second) as book:  # batch 1 again: the store was begun anew
        batch = book.batches.add(replace(TUB, name="Fig loaf", started_at=later))
        book.save_step(batch.id, Outlook(later, State.NO_RISE), [], [])
        book.nodes.note(NODE, "serial bench", START)
    drain(first, influx)
    with following(folder, influx) as follower:
        follower.look()
        drain(second, influx)
        follower.look()
    copy = copy_of(folder, "rye")
    for _ in range(2):
        with Store(copy) as store:
            (batch,) = store.batches.all()
            assert batch.name == "Fig loaf"
            assert [outlook.at for outlook in store.outlooks.of(batch.id)] == [later]
            assert store.outbox.messages(batch.id) == []
        copy.unlink()
        with following(folder, influx) as follower:
            follower.look()


def test_sites_are_kept_apart(tmp_path: Path, influx: Influx) -> None:
    path, folder = tmp_path / "proofing.sqlite", tmp_path / "central"
    fill(path, 5)
    drain(path, influx)
    drain(path, influx, site="poplar-lane")
    influx.write('delivery,site=../../etc measurement="batch",from_ns=0i,to_ns=1i,points=1i 1')
    with following(folder, influx) as follower:
        follower.look()
    assert copies_in(folder).keys() == {"rye", "poplar-lane"}


def test_points_that_are_no_rows_are_left_out_and_the_rest_is_taken(tmp_path: Path, influx: Influx) -> None:
    path, folder = tmp_path / "proofing.sqlite", tmp_path / "central"
    fill(path, 5)
    at = int(START.timestamp()) * 1_000_000_000
    for k, line in enumerate(
        (
            "reading,site=rye,node=x,channel=air_temp_c value=3",
            'reading,site=rye,node=eye,channel=level_mm value=3,origin="a"',
            'batch,site=rye,slot=1 row="[]",row_parts=1i',
            'batch,site=rye,slot=1 row="{\\"id\\":{}}",row_parts=1i',
            'batch,site=rye,slot=1 row="{\\"id\\":77,\\"started_us\\":1}",row_parts=1i',
            'event,site=rye,slot=1 row="{",row_parts=2i',
            'event,site=rye,slot=1 row="{\\"at_us\\":[1]}",row_parts=1i',
        )
    ):
        influx.write(f"{line} {at + k}")
    drain(path, influx)
    with following(folder, influx) as follower:
        follower.look()
    for table in ("batch", "event", "reading"):
        assert rows_of(copy_of(folder, "rye"), table) == rows_of(path, table)


def test_spans_that_touch_are_read_as_one() -> None:
    minute = 60_000_000_000
    notes = [
        {"measurement": "reading", "from_ns": 10 * minute, "to_ns": 11 * minute},
        {"measurement": "reading", "from_ns": 0, "to_ns": 5 * minute},
        {"measurement": "reading", "from_ns": 4 * minute, "to_ns": 4 * minute},
        {"measurement": "batch", "from_ns": 1, "to_ns": 1},
    ]
    found = spans_of(notes)
    assert found == {"reading": [Span(0, 5 * minute), Span(10 * minute, 11 * minute)], "batch": [Span(1, 1)]}
