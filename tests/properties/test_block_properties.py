"""For any readings: what comes out of a block is what went in, and no reader tells a packed store from a whole one."""

import math
import sqlite3
import struct
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_rows import CABINET, NODE, at, batch, reading

from monitor.recipe.batch import Batch
from monitor.store.blocks import Sample, pack, unpack
from monitor.store.store import Store
from monitor.wire.readings import Channel, Flag, Reading

INT64 = st.integers(-(2**63), 2**63 - 1)
EDGES = [0.0, -0.0, math.inf, -math.inf, 5e-324, 1.7976931348623157e308, 2.0**53, 0.1 + 0.2, 21.37, -40.0, 65535.0]
VALUE = st.none() | st.sampled_from(EDGES) | st.floats(allow_nan=False) | st.decimals(-99, 999, places=2).map(float)
SAMPLES = st.lists(
    st.builds(Sample, INT64, st.integers(1, 4), INT64, INT64, VALUE, VALUE, INT64, INT64, st.text(max_size=4)),
    min_size=1,
    max_size=60,
)


def bits(samples: Iterable[Sample]) -> list[bytes]:
    return [struct.pack("<d", value) for each in samples for value in (each.value, each.sd) if value is not None]


@given(SAMPLES)
def test_every_bit_comes_out_of_a_block(samples: list[Sample]) -> None:
    out = unpack(pack(samples))
    assert out == tuple(samples)
    assert bits(out) == bits(samples)


OLD = batch(
    started_at=at(0), ended_at=at(120), events=(), nodes=((Channel.DISTANCE, NODE), (Channel.AIR_TEMP, CABINET))
)
LATE = at(40 * 24 * 60.0)
READINGS = st.lists(
    st.builds(
        Reading,
        node=st.sampled_from([NODE, CABINET]),
        boot=st.sampled_from(["0a1b2c3d", "0a1b2c3e", "00000000"]),
        seq=st.integers(1, 30),
        channel=st.sampled_from([Channel.DISTANCE, Channel.AIR_TEMP, Channel.HUMIDITY, Channel.LOST]),
        value=st.floats(allow_nan=True) | st.sampled_from([21.37, 180.1, -0.0]),
        measured_at=st.sampled_from([-70.0, -59.0, 0.0, 3.0, 3.0, 61.25, 120.0, 179.0, 300.0]).map(at),
        arrived_at=st.sampled_from([180.0, 181.5, 400.0]).map(at),
        sd=st.none() | st.floats(0.01, 3.0),
        flag=st.sampled_from([Flag.OK, Flag.OK, Flag.OUT_OF_RANGE, Flag.CLOCK]),
    ),
    max_size=50,
)


@contextmanager
def opened() -> Iterator[Store]:
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "proofing.sqlite") as store:
        yield store


def rows_of(store: Store) -> list[sqlite3.Row]:
    return [tuple(row) for row in store._connection.execute("SELECT * FROM sample ORDER BY id")]


def seen(store: Store, kept: Batch) -> str:
    """All that readers are given."""
    span: tuple[datetime, datetime] = (at(-999), LATE)
    sensors = [(node, channel) for node in (NODE, CABINET) for channel in Channel]
    return repr(
        (
            store.readings.of(kept),
            store.readings.track(kept),
            [store.readings.between(*sensor, *span) for sensor in sensors],
            [store.readings.hearing(*sensor, *span) for sensor in sensors],
            [
                [replace(each, mean=round(each.mean, 9)) for each in store.readings.five_minutes(*sensor, *span)]
                for sensor in sensors
            ],
            store.transfer.take_out(kept.id),
            store.spool.unsent("anew", "reading", 7),
            store.spool.unsent("anew", "reading", 999),
            store.spool.counts(),
            [store.nodes.all()],
        )
    )


@settings(max_examples=40)
@given(READINGS, st.integers(0, 50))
def test_no_reader_tells_a_packed_store_from_a_whole_one(readings: list[Reading], again_from: int) -> None:
    with opened() as store:
        kept = store.batches.add(OLD)
        store.readings.add([*readings, replace(reading(), measured_at=LATE, arrived_at=LATE)])
        rows, before = rows_of(store), seen(store, kept)
        n = sum(store.blocks.packing(LATE, LATE))
        assert seen(store, kept) == before
        assert store.blocks.held() == n == len(rows) - len(rows_of(store))
        assert store.blocks.due(LATE) == 0
        assert store.readings.add(readings[again_from:]) == 0, "what was packed is known still"
        assert sum(store.blocks.unpacking(LATE + timedelta(days=2))) == n
        assert rows_of(store) == rows
        assert [line.readings for line in store.blocks.history()] == ([n, n] if n else [])
