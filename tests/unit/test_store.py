"""The store keeps what it was given, once, and says what to do when it cannot."""

import math
import sqlite3
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor.bakery.alerts import Alert, AlertKind, Change, Message, Phase, Subject
from monitor.bakery.calls import Call
from monitor.dough.outlook import Band, FanPoint, Moments, Outlook, State
from monitor.errors import StoreError
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.formula import Formula
from monitor.recipe.vessel import Shape, Vessel
from monitor.sinks import schema
from monitor.sinks.arrivals import KEPT_FRAME_BYTES
from monitor.sinks.store import Store, eye_node
from monitor.wire.readings import Channel, Flag, NodeId, Reading

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
CABINET = NodeId("urn:dev:mac:020000fffe5e0002")
START = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def reading(
    minutes: float = 0.0,
    channel: Channel = Channel.DISTANCE,
    value: float = 212.4,
    *,
    node: NodeId = NODE,
    seq: int | None = None,
    flag: Flag = Flag.OK,
) -> Reading:
    number = seq if seq is not None else round(minutes * 60) + 100_000
    return Reading(node, "0a1b2c3d", number, channel, value, at(minutes), at(minutes + 0.5), flag=flag)


def batch(**changes: object) -> Batch:
    plain = Batch(
        id=BatchId(0),
        name="Märzlaib, tub 3",
        stage=Stage.BULK_RISE,
        started_at=START,
        vessel=Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0, 300.0),
        target=Target(75.0),
        formula=Formula(1000.0, water_g=700.0, salt_g=20.0, instant_yeast_g=4.0),
        nodes=((Channel.AIR_TEMP, CABINET), (Channel.DISTANCE, NODE)),
        events=(Event(at(30), EventKind.FOLD, "first"),),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def outlook(minutes: float) -> Outlook:
    return Outlook(
        at=at(minutes),
        state=State.RISING,
        rise_pct=Band(20.0, 25.5, 31.0),
        ready=Moments(at(100), at(105), at(110), at(115), at(120)),
        peak=Moments(at(150), None, None),
        peak_soon_chance=0.25,
        why=None,
        dough_temp_c=24.88,
        last_reading_at=at(minutes - 0.5),
        fan=(FanPoint(at(minutes + 10), 20.0, 22.0, 25.0, 28.0, 31.0), FanPoint(at(120), 60.0, 70.0, 75.0, 80.0, 90.0)),
    )


def message(episode: int = 1, minutes: float = 90.0) -> Message:
    return Message(
        f"1-ready-{episode}",
        BatchId(1),
        AlertKind.READY,
        episode,
        "Ready",
        "Märzlaib is ready",
        at(minutes),
    )


def test_reading_comes_back_as_it_was_given(store: Store) -> None:
    kept = [
        reading(1, Channel.DOUGH_TEMP, 24.88),
        replace(reading(2), measured_at=at(2) + timedelta(microseconds=1), flag=Flag.CLOCK),
        replace(reading(3), sd=1.5, seq=999_999_999_999_999_999),
    ]
    assert store.append(kept) == 3
    assert store.readings_between(NODE, Channel.DOUGH_TEMP, at(0), at(5)) == kept[:1]
    assert store.readings_between(NODE, Channel.DISTANCE, at(0), at(5)) == kept[1:]


def test_nan_stays_nan(store: Store) -> None:
    assert store.append([reading(1, value=math.nan, flag=Flag.OUT_OF_RANGE)]) == 1
    (back,) = store.readings_between(NODE, Channel.DISTANCE, at(0), at(5))
    assert math.isnan(back.value)


def test_second_copy_of_a_reading_changes_nothing(store: Store) -> None:
    first = reading(1)
    assert store.append([first, replace(first, value=1.0)]) == 1
    assert store.append([replace(first, arrived_at=at(9)), reading(2)]) == 1
    assert store.readings_between(NODE, Channel.DISTANCE, at(1), at(1)) == [first]


def test_append_is_all_or_nothing(store: Store) -> None:
    broken = replace(reading(2), measured_at=datetime(2026, 3, 2))  # no offset
    with pytest.raises(TypeError):
        store.append([reading(1), broken])
    assert store.append([reading(1)]) == 1


def test_readings_outlive_the_store_object(tmp_path: Path) -> None:
    with Store(tmp_path / "deep" / "er" / "kept.sqlite") as first:
        first.append([reading(1)])
    with Store(tmp_path / "deep" / "er" / "kept.sqlite") as second:
        assert second.readings_between(NODE, Channel.DISTANCE, at(0), at(5)) == [reading(1)]


def test_batch_comes_back_with_its_id_and_events(store: Store) -> None:
    added = store.add_batch(batch())
    assert added.id == 1
    assert store.batch(added.id) == added == replace(batch(), id=added.id)
    bare = store.add_batch(batch(formula=None, target=Target(None), nodes=(), events=(), preheat_min=30.0))
    assert store.batch(bare.id) == bare
    assert store.batches() == [added, bare]


def test_end_event_ends_the_batch_once(store: Store) -> None:
    kept = store.add_batch(batch())
    other = store.add_batch(batch(name="other"))
    assert store.add_event(kept.id, Event(at(60), EventKind.FOLD)).ended_at is None
    assert store.add_event(kept.id, Event(at(90), EventKind.END)).ended_at == at(90)
    ended = store.add_event(kept.id, Event(at(95), EventKind.END, "tapped twice"))
    assert ended.ended_at == at(90)
    assert store.batches(running=False) == [ended]
    assert store.batches(running=True) == [other]


def test_same_event_twice_is_one(store: Store) -> None:
    kept = store.add_batch(batch(events=()))
    store.add_event(kept.id, Event(at(60), EventKind.FOLD))
    assert store.add_event(kept.id, Event(at(60), EventKind.FOLD)).events == (Event(at(60), EventKind.FOLD),)


@pytest.mark.parametrize(
    "ask",
    [
        lambda store: store.batch(BatchId(7)),
        lambda store: store.add_event(BatchId(7), Event(at(1), EventKind.FOLD)),
        lambda store: store.add_level(BatchId(7), at(1), 80.0, 2.0),
    ],
)
def test_unknown_batch_is_named(store: Store, ask: Callable[[Store], object]) -> None:
    with pytest.raises(StoreError, match="has no batch 7"):
        ask(store)


def test_readings_of_a_batch_are_its_own_channels_between_start_and_end(store: Store) -> None:
    kept = store.add_batch(batch())
    air = reading(1, Channel.AIR_TEMP, 25.0, node=CABINET)
    late = reading(0, seq=7)
    strangers = [
        reading(-1),  # before the start
        reading(2, node=CABINET),  # its distance is another batch's
        reading(3, Channel.AIR_TEMP, 20.0),  # the air comes from the cabinet
        reading(91),
    ]
    store.append([reading(5), air, *strangers, late])
    assert store.readings(kept) == [late, air, reading(5), reading(91)]
    ended = store.add_event(kept.id, Event(at(90), EventKind.END))
    assert store.readings(ended) == [late, air, reading(5)]


def test_level_read_by_eye_is_a_reading_of_its_batch(store: Store) -> None:
    kept = store.add_batch(batch(nodes=()))
    nobody, row = store.new_levels(None)
    level = store.add_level(kept.id, at(10), 81.0, 2.0)
    again = store.add_level(kept.id, at(10), 82.0, 2.0)
    assert level == Reading(eye_node(kept.id), "eye", 1, Channel.LEVEL, 81.0, at(10), at(10), sd=2.0)
    assert store.readings(kept) == [level, again]
    assert nobody == set()
    told, row = store.new_levels(row)
    assert told == {eye_node(kept.id)}
    store.append([reading(11)])
    assert store.new_levels(row)[0] == set()
    assert store.readings(store.add_batch(batch(nodes=()))) == []


def test_changes_tells_of_other_processes_and_of_batches(store: Store) -> None:
    def is_changed() -> bool:
        nonlocal before
        before, last = store.changes(), before
        return before != last

    before = store.changes()
    kept = store.add_batch(batch())
    assert is_changed()
    store.add_event(kept.id, Event(at(5), EventKind.FOLD))
    assert is_changed()
    store.append([reading(6)])
    store.save_step(kept.id, outlook(6), [], [])
    assert not is_changed()
    with Store(store.path) as other:
        other.batches()
        assert not is_changed()
        other.add_level(kept.id, at(7), 80.0, 2.0)
    assert is_changed()
    store.reopen()
    assert is_changed()


def test_faults_are_counted_by_source_node_and_reason(store: Store) -> None:
    store.count_fault("serial", NODE, "checksum", at(1))
    store.count_fault("serial", NODE, "checksum", at(3), n=4)
    store.count_fault("mqtt", NODE, "checksum", at(2))
    found = store.faults()
    assert [(one.source, one.node, one.reason, one.count) for one in found] == [
        ("mqtt", NODE, "checksum", 1),
        ("serial", NODE, "checksum", 5),
    ]
    assert (found[1].first_at, found[1].last_at) == (at(1), at(3))


def test_quarantine_keeps_the_newest_and_no_giants(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("monitor.sinks.arrivals.KEPT_QUARANTINE", 2)
    store.quarantine(NODE, "serial", "senml", b"one", at(1))
    store.quarantine(None, "mqtt", "frame", b"two", at(2))
    store.quarantine(NODE, "mqtt", "value", b"x" * 5000, at(3))
    newest, second = store.quarantined()
    assert (newest.node, newest.source, newest.reason, newest.at) == (NODE, "mqtt", "value", at(3))
    assert newest.frame == b"x" * KEPT_FRAME_BYTES
    assert (second.node, second.frame) == (None, b"two")


def test_node_row_shows_newest_values_status_and_lost_packs(store: Store) -> None:
    store.note_node(NODE, "mqtt", at(1))
    store.note_node(NODE, "mqtt", at(3), is_online=True)
    store.note_node(NODE, "mqtt", at(2))
    store.note_node(CABINET, "serial", at(1))
    newest = reading(5)
    store.append([newest, reading(2), reading(3, Channel.DOUGH_TEMP, 24.0)])
    store.append([reading(1, Channel.LOST, 3.0), reading(4, Channel.LOST, 2.0)])
    first, second = store.nodes()
    assert (first.node, first.source, first.is_online, first.lost_packs) == (NODE, "mqtt", True, 5)
    assert (first.first_seen_at, first.last_seen_at) == (at(1), at(3))
    assert first.last(Channel.DISTANCE) == newest
    assert first.last(Channel.HUMIDITY) is None
    assert (second.node, second.is_online, second.newest, second.lost_packs) == (CABINET, None, (), 0)
    store.note_node(NODE, "mqtt", at(6), is_online=False)
    assert store.nodes()[0].is_online is False


def test_step_is_kept_whole(store: Store) -> None:
    kept = store.add_batch(batch())
    alert = Alert(
        Subject.batch(kept.id),
        AlertKind.READY,
        1,
        at(89),
        fired_at=at(90),
        quiet_since_at=at(91),
        called_at=at(90),
        suppressed_by="it is explained",
        reason="it is",
        about="distance_mm",
    )
    change = Change(alert.subject, alert.kind, 1, at(90), Phase.UNACKNOWLEDGED, "it is", "", at(90), ("a reading",))
    store.save_step(kept.id, outlook(80), (), ())
    store.save_step(kept.id, outlook(90), (alert,), (message(),), (change,))
    assert store.outlooks(kept.id) == [outlook(80), outlook(90)]
    assert store.outlooks(kept.id, has_fan=False) == [replace(outlook(80), fan=()), replace(outlook(90), fan=())]
    assert store.latest_outlook(kept.id) == outlook(90)
    assert store.alerts(kept.id) == store.alerts() == [alert]
    assert store.alert_history(kept.id) == store.alert_history(since=at(90)) == [change]
    assert store.alert_history(since=at(91)) == []
    assert store.messages(kept.id) == store.messages() == [message()]


def test_step_saved_again_says_nothing_twice(store: Store) -> None:
    kept = store.add_batch(batch())
    firing = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90))
    store.save_step(kept.id, outlook(90), (firing,), (message(),))
    resolved = replace(firing, returned_at=at(95), reason="ended")
    store.save_step(kept.id, replace(outlook(90), state=State.READY), (resolved,), (message(minutes=95),))
    assert [one.state for one in store.outlooks(kept.id)] == [State.READY]
    assert store.alerts() == [resolved]
    assert store.messages() == [message()]


def test_step_that_fails_leaves_nothing(store: Store) -> None:
    kept = store.add_batch(batch())
    stranger = Alert(Subject.batch(BatchId(99)), AlertKind.READY, 1, at(1))
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        store.save_step(kept.id, outlook(90), (stranger,), ())
    assert store.latest_outlook(kept.id) is None
    assert store.alerts() == []


def test_outlook_with_nan_is_refused_when_written(store: Store) -> None:
    kept = store.add_batch(batch())
    with pytest.raises(ValueError, match="JSON"):
        store.save_step(kept.id, replace(outlook(90), rise_pct=Band(math.nan, 1.0, 2.0)), (), ())
    assert store.outlooks(kept.id) == []


def test_outlook_of_numpy_floats_is_kept(store: Store) -> None:
    kept = store.add_batch(batch())
    store.save_step(kept.id, replace(outlook(90), rise_pct=Band(np.float64(20.0), 25.5, 31.0)), (), ())
    assert store.latest_outlook(kept.id) == outlook(90)


def test_message_is_open_until_it_is_closed(store: Store) -> None:
    kept = store.add_batch(batch())
    alert = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90))
    store.save_step(kept.id, outlook(90), (alert,), (message(1, 90), message(2, 91)))
    call = Call("1-ready-1", 1, "baker", at(95))
    store.save_call(call)
    assert store.open_messages() == [(message(1, 90), alert, [call]), (message(2, 91), None, [])]
    taken = replace(call, accepted_at=at(96), carrier="phone", tries=2, detail="phone: ok")
    store.save_call(taken, 2)
    store.close_message("1-ready-2", "nobody answers")
    told = replace(message(1, 90), attempts=2, delivered_at=at(96))
    assert store.open_messages() == [(told, alert, [taken])]
    store.close_message("1-ready-1", "it was told")
    assert store.open_messages() == []
    assert store.messages() == [message(2, 91), told]
    assert store.calls() == store.calls("1-ready-1") == [taken]


def test_what_somebody_says_to_an_alert_outlives_a_look_that_did_not_know_of_it(store: Store) -> None:
    kept = store.add_batch(batch())
    alert = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90), called_at=at(90))
    store.save_step(kept.id, outlook(90), (alert,), ())
    (number,) = (each.number for each in store.standing_alerts())
    assert store.acknowledge(number, at(91), "Ida").phase is Phase.ACKNOWLEDGED
    assert store.shelve(number, at(120), at(92)).phase is Phase.SHELVED
    store.save_step(kept.id, outlook(93), (alert,), ())
    (now,) = store.alerts(kept.id)
    assert (now.acknowledged_at, now.shelved_until) == (at(91), at(120))
    store.save_step(kept.id, outlook(120), (alert,), ())
    assert store.alerts(kept.id)[0].phase is Phase.ACKNOWLEDGED, "unshelved by itself"
    assert [(change.phase, change.by) for change in store.alert_history()] == [
        (Phase.ACKNOWLEDGED, "Ida"),
        (Phase.SHELVED, "somebody"),
    ]


def test_alert_that_is_unknown_or_over_is_refused_in_words(store: Store) -> None:
    with pytest.raises(StoreError, match="alerts list"):
        store.acknowledge(5, at(1))
    kept = store.add_batch(batch())
    over = Alert(Subject.batch(kept.id), AlertKind.READY, 1, at(89), at(90), returned_at=at(91), called_at=at(90))
    store.save_step(kept.id, outlook(92), (over,), ())
    with pytest.raises(StoreError, match="is over"):
        store.shelve(1, at(120), at(92))
    assert [alert.phase for alert in store.standing_alerts()] == [Phase.RETURNED]
    store.acknowledge(1, at(93))
    assert store.standing_alerts() == []


def test_calls_are_counted_by_batch_and_hour(store: Store) -> None:
    kept = store.add_batch(batch())
    store.save_step(kept.id, outlook(90), (), (message(1, 90), message(2, 91)))
    store.save_call(Call("1-ready-1", 0, "terminal", at(90)))
    store.save_call(Call("1-ready-1", 1, "baker", at(90)))
    store.save_call(Call("1-ready-1", 2, "baker", at(95)))
    store.save_call(Call("1-ready-2", 0, "terminal", at(91), at(91)))
    assert [(told.batch_id, told.messages, told.calls) for told in store.call_counts()] == [(kept.id, 2, 3)]
    assert [told.calls for told in store.call_counts(at(94), at(96))] == [1]
    assert store.call_counts(at(96)) == []


def test_setting_is_shared_and_replaced(store: Store) -> None:
    store.put_setting("speed", "60")
    store.put_setting("speed", "120")
    with Store(store.path) as other:
        assert other.setting("speed") == "120"
        assert other.setting("epoch") is None


def test_second_connection_writes_and_reads_beside_the_first(store: Store) -> None:
    kept = store.add_batch(batch())
    with Store(store.path) as screen:
        screen.add_event(kept.id, Event(at(40), EventKind.POKE))
        store.append([reading(5)])
        assert screen.readings(kept) == [reading(5)]
    assert store.batch(kept.id).events[-1] == Event(at(40), EventKind.POKE)


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
        "SELECT node FROM reading NOT INDEXED WHERE id > 5 AND channel = 'c'",
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
    store.track(batch())
    store._connection.set_trace_callback(None)
    selects = [sql for sql in seen if sql.startswith("SELECT measured_us")]
    assert selects
    for sql in selects:
        (row,) = store._connection.execute("EXPLAIN QUERY PLAN " + sql).fetchall()
        assert "USING COVERING INDEX" in row["detail"]


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
        (batch,) = store.batches()
        assert (batch.recipe, batch.recipe_key) == ("", "hazel loaf")
        assert store.lessons() == []


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
        closed.setting("speed")


def test_store_of_another_thread_is_explained(store: Store) -> None:
    told: list[str] = []

    def read() -> None:
        try:
            store.setting("speed")
        except StoreError as error:
            told.append(str(error))

    thread = threading.Thread(target=read)
    thread.start()
    thread.join()
    assert "each thread opens a Store of its own" in told[0]


def test_row_that_no_longer_reads_is_explained(store: Store) -> None:
    kept = store.add_batch(batch())
    store._connection.execute("UPDATE batch SET vessel = '{}'")
    with pytest.raises(StoreError, match="holds a value this program cannot read"):
        store.batch(kept.id)
