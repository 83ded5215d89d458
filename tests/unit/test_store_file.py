"""The store's file: shared by several connections, migrated, quick to read, and what it says when it cannot be used."""

import sqlite3
import threading
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import made_up_day
import pytest
from made_up_rows import NODE, at, batch, reading

from monitor.dough.outlook import Band, KeptText, NoForecast, State
from monitor.errors import StoreError
from monitor.plan.day import Plan
from monitor.plan.orders import Order
from monitor.plan.planner import make_plan
from monitor.recipe.batch import BatchId, Event, EventKind, Stage
from monitor.store import rows, schema
from monitor.store.collector_lock import hold_shipping_lock
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId


def test_readings_outlive_the_store_object(tmp_path: Path) -> None:
    with Store(tmp_path / "deep" / "er" / "kept.sqlite") as first:
        first.readings.add([reading(1)])
    with Store(tmp_path / "deep" / "er" / "kept.sqlite") as second:
        assert second.readings.between(NODE, Channel.DISTANCE, at(0), at(5)) == [reading(1)]


def test_nobody_else_on_the_machine_can_read_the_database(tmp_path: Path) -> None:
    path = tmp_path / "kept.sqlite"
    with Store(path) as store:
        store.readings.add([reading(1)])
        assert {each.name: each.stat().st_mode & 0o777 for each in tmp_path.iterdir()} == dict.fromkeys(
            ("kept.sqlite", "kept.sqlite-wal", "kept.sqlite-shm"), 0o600
        )
    path.chmod(0o664)  # as an earlier version left it
    with Store(path):
        assert {each.stat().st_mode & 0o777 for each in tmp_path.iterdir()} == {0o660}


def test_setting_is_shared_and_replaced(store: Store) -> None:
    store.settings.put("speed", "60")
    store.settings.put("speed", "120")
    with Store(store.path) as other:
        assert other.settings.get("speed") == "120"
        assert other.settings.get("epoch") is None


def test_second_connection_writes_and_reads_beside_the_first(store: Store) -> None:
    kept = store.batches.add(batch())
    with Store(store.path) as screen:
        screen.batches.add_event(kept.id, Event(at(40), EventKind.POKE))
        store.readings.add([reading(5)])
        assert screen.readings.of(kept) == [reading(5)]
    assert store.batches.get(kept.id).events[-1] == Event(at(40), EventKind.POKE)


def test_file_is_in_wal_mode_and_commits_are_full(store: Store) -> None:
    connection = store._connection
    assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL
    assert connection.execute("PRAGMA foreign_keys").fetchone()[0] == 1


@pytest.mark.parametrize(
    "sql",
    [
        "SELECT * FROM reading WHERE node = 'n' AND channel = 'c' AND measured_us > 1 ORDER BY measured_us, id",
        "SELECT * FROM reading WHERE node = 'n' AND channel = 'c' ORDER BY measured_us DESC LIMIT 1",
        "SELECT * FROM reading WHERE id > 5 ORDER BY id LIMIT 9",
        "SELECT node FROM sample NOT INDEXED CROSS JOIN sensor ON sensor.id = sample.sensor_id WHERE sample.id > 5",
        "SELECT * FROM outlook WHERE batch_id = 1 ORDER BY at_us DESC LIMIT 1",
        "SELECT body FROM lesson WHERE recipe = 'r' AND curve = 'c' AND body IS NOT NULL ORDER BY batch_id",
        "SELECT * FROM alert WHERE message_id = 'm'",
    ],
)
def test_frequent_reads_use_an_index_and_sort_nothing(store: Store, sql: str) -> None:
    plan = " / ".join(row["detail"] for row in store._connection.execute("EXPLAIN QUERY PLAN " + sql))
    assert plan.startswith("SEARCH"), plan
    assert "TEMP B-TREE" not in plan


def test_a_track_is_read_from_an_index_alone(store: Store) -> None:
    seen: list[str] = []
    store._connection.set_trace_callback(seen.append)
    store.readings.track(batch())
    store._connection.set_trace_callback(None)
    selects = [sql for sql in seen if sql.startswith("SELECT measured_us")]
    assert selects
    for sql in selects:
        plan = [row["detail"] for row in store._connection.execute("EXPLAIN QUERY PLAN " + sql)]
        assert [step.split()[1] for step in plan if "USING COVERING INDEX" in step] == ["sample", "sensor"]
        assert not [step for step in plan if step.startswith("S") and "COVERING" not in step and "SUBQUERY" not in step]


def test_migration_that_fails_is_undone_whole(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / "half.sqlite", isolation_level=None)
    good = ("first", ("CREATE TABLE a (x)",))
    bad = ("second", ("CREATE TABLE b (x)", "INSERT INTO a VALUES (1)", "CREATE TABEL c (x)"))
    with pytest.raises(sqlite3.OperationalError, match="TABEL"):
        schema.migrate(connection, (good, bad))
    assert schema.version(connection) == 1
    assert connection.execute("SELECT count(*) FROM a").fetchone()[0] == 0
    assert connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'b'").fetchone()[0] == 0
    mended = ("second", ("CREATE TABLE b (x)",))
    assert schema.migrate(connection, (good, mended)) == (1, 2)
    assert schema.migrate(connection, (good, mended)) == (2, 2)
    connection.close()


def test_a_file_from_before_recipes_had_names_keeps_its_batches(tmp_path: Path) -> None:
    path = tmp_path / "older.sqlite"
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:2])
    connection.execute(
        "INSERT INTO batch (name, stage, started_us, vessel, nodes) VALUES ('Hazel loaf, 3', 'bulk rise', 0, ?, '[]')",
        ('{"shape":"round","base_mm":[180,180],"top_mm":[180,180],"depth_mm":200}',),
    )
    connection.close()
    with Store(path) as store:
        (batch,) = store.batches.all()
        assert (batch.recipe, batch.recipe_key) == ("", "hazel loaf")
        assert batch.stage is Stage.FIRST_RISE
        assert store.lessons.all() == []


def test_a_file_that_said_bulk_rise_keeps_its_plans_and_lessons(tmp_path: Path) -> None:
    path = tmp_path / "older.sqlite"
    quoted = '"stage":"bulk rise","foretold":'  # in a baker's own words it stays
    recipe = made_up_day.recipe()
    recipe = replace(recipe, note=quoted)
    plan = make_plan((Order(recipe, made_up_day.NOON),), made_up_day.KITCHEN, made_up_day.MORNING, UTC)
    assert isinstance(plan, Plan)
    older = (
        rows.to_json(plan).replace('"stage":"first rise"', '"stage":"bulk rise"').replace('"forecast":', '"foretold":')
    )
    before = next(n for n, (purpose, _) in enumerate(schema.MIGRATIONS) if purpose.startswith("the first rise"))
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[:before])
    connection.execute("INSERT INTO plan (made_us, body) VALUES (0, ?)", (older,))
    connection.execute(
        "INSERT INTO batch (id, name, stage, started_us, vessel, nodes) VALUES (1, ?, 'bulk rise', 0, '{}', '[]')",
        ("bulk rise",),
    )
    connection.execute("INSERT INTO lesson VALUES (1, 'rye', 'x', ?)", ('{"recipe":"rye","stage":"bulk rise"}',))
    schema.migrate(connection)
    assert rows.from_json(connection.execute("SELECT body FROM plan").fetchone()[0], Plan) == plan
    assert connection.execute("SELECT name, stage FROM batch").fetchone() == ("bulk rise", "first rise")
    assert connection.execute("SELECT body FROM lesson").fetchone()[0] == '{"recipe":"rye","stage":"first rise"}'
    connection.close()


PURPOSES = [purpose for purpose, _ in schema.MIGRATIONS]
BEFORE_CODES = schema.MIGRATIONS[: PURPOSES.index("outlooks hold codes in place of words")]


@pytest.mark.parametrize(
    ("kept", "state", "why"),
    [
        ('"state":"slack"', State.NO_RISE, None),
        ('"state":"rising","why":null', State.RISING, None),
        (
            '"state":"no_readings","why":"no reading has come yet: check that the node is on and that the batch names '
            'it"',
            State.NO_READINGS,
            NoForecast.NO_READING_YET,
        ),
        (
            '"state":"no_readings","why":"not estimated: a fault in this program; its readings are kept, '
            'its log says more"',
            State.NO_READINGS,
            NoForecast.NOT_ESTIMATED,
        ),
        ('"state":"ready","why":"it says \\"slack\\""', State.READY, KeptText('it says "slack"', "en")),
    ],
)
def test_an_outlook_kept_in_words_is_read_as_codes(
    tmp_path: Path, kept: str, state: State, why: NoForecast | KeptText | None
) -> None:
    path = tmp_path / "older.sqlite"
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, BEFORE_CODES)
    connection.execute(
        "INSERT INTO batch (name, stage, started_us, vessel, nodes) VALUES ('Hazel loaf', 'first rise', 0, ?, '[]')",
        ('{"shape":"round","base_mm":[180,180],"top_mm":[180,180],"depth_mm":200}',),
    )
    body = f'{{"at":"2026-03-02T05:40:00Z",{kept},"rise_pct":{{"p05":0.1,"p50":0.30000000000000004,"p95":1.0}}}}'
    connection.execute("INSERT INTO outlook VALUES (1, 5, ?, '[]')", (body,))
    connection.close()
    with Store(path) as store:
        (found,) = store.outlooks.of(BatchId(1))
    assert (found.state, found.why) == (state, why)
    assert found.rise_pct == Band(0.1, 0.30000000000000004, 1.0)


def test_a_file_whose_readings_held_names_keeps_them(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = tmp_path / "older.sqlite"
    kept = [reading(seq, channel=channel) for seq in (7, 1, 3) for channel in (Channel.AIR_TEMP, Channel.DISTANCE)]
    kept.append(replace(kept[0], node=NodeId("urn:dev:mac:020000fffe5e00ff"), boot="ffffffff", value=float("nan")))
    connection = sqlite3.connect(path, isolation_level=None)
    schema.migrate(connection, schema.MIGRATIONS[: schema.SAMPLES_SINCE - 1])
    connection.executemany(
        f"INSERT INTO reading ({rows.READING_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [rows.reading_to_row(each) for each in kept],
    )
    numbered = f"SELECT id, {rows.READING_COLUMNS} FROM reading ORDER BY id"
    before = connection.execute(numbered).fetchall()
    connection.close()
    with Store(path) as store:
        assert list(map(tuple, store._connection.execute(numbered))) == before
        assert store.readings.add(kept) == 0  # each is known still
        assert store.readings.add([replace(kept[-1], boot="eeeeeeee")]) == 1
    (told, where) = caplog.messages
    assert f"{path}: of an older version, is brought up to date" in told
    assert where == f"{path}: the file as it was lies at {path}.version-{schema.SAMPLES_SINCE - 1}"
    Store(path).close()
    assert len(caplog.messages) == 2


def test_names_of_a_transaction_that_was_undone_are_not_taken_for_known(store: Store) -> None:
    def undone() -> None:
        with store.writing() as connection:
            store.readings.put(connection, [reading(1)])
            raise ZeroDivisionError

    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            undone()
    assert store.readings.add([reading(2)]) == 1
    assert store.readings.add([reading(2), reading(3)]) == 1
    assert store.readings.between(NODE, Channel.DISTANCE, at(0), at(9)) == [reading(2), reading(3)]


def test_file_of_a_newer_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "newer.sqlite"
    Store(path).close()
    connection = sqlite3.connect(path)
    connection.execute("INSERT INTO schema_version VALUES (99, 'from the future')")
    connection.commit()
    connection.close()
    with pytest.raises(StoreError, match="newer version"):
        Store(path)


def test_file_that_is_no_database_is_explained(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("flour, water, salt\n" * 100)
    with pytest.raises(StoreError, match=r"notes\.txt: cannot be opened: file is not a database; .*name another"):
        Store(path)


def test_folder_that_cannot_be_made_is_explained(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be opened"):
        Store(tmp_path / "file" / "store.sqlite")


def test_closed_store_is_explained(tmp_path: Path) -> None:
    closed = Store(tmp_path / "s.sqlite")
    closed.close()
    closed.close()
    with pytest.raises(StoreError, match="open it again"):
        closed.settings.get("speed")


def test_store_of_another_thread_is_explained(store: Store) -> None:
    told: list[str] = []

    def read() -> None:
        try:
            store.settings.get("speed")
        except StoreError as error:
            told.append(str(error))

    thread = threading.Thread(target=read)
    thread.start()
    thread.join()
    assert "each thread opens a Store of its own" in told[0]


def test_row_that_no_longer_reads_is_explained(store: Store) -> None:
    kept = store.batches.add(batch())
    store._connection.execute("UPDATE batch SET vessel = '{}'")
    with pytest.raises(StoreError, match="holds a value this program cannot read"):
        store.batches.get(kept.id)


def test_while_a_store_is_shipped_nobody_else_puts_its_log_into_the_file(tmp_path: Path) -> None:
    def pages(store: Store) -> int:
        with store.reading() as connection:
            return int(connection.execute("PRAGMA wal_autocheckpoint").fetchone()[0])

    with Store(tmp_path / "proofing.sqlite") as store:
        assert pages(store) > 0
        with hold_shipping_lock(tmp_path):
            store.settings.put("language", "en")
            assert pages(store) == 0
            with Store(tmp_path / "proofing.sqlite") as another:
                assert pages(another) == 0
        store.settings.put("language", "de")
        assert pages(store) > 0
