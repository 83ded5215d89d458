"""Everything a site's store holds reaches a real InfluxDB once, whatever fails on the way."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from harness import START, SetClock, wait_until
from influx import BUCKET, TOKEN, Influx

from monitor.bakery.alerts import Alert, AlertKind, Change, Message, Phase, Subject
from monitor.central import sender as sending
from monitor.central.sender import Sender, target_of
from monitor.centre import Centre
from monitor.dough.outlook import Band, FanPoint, Outlook, State
from monitor.recipe.batch import Batch, BatchId, Event, EventKind, Stage, Target
from monitor.recipe.intent import Judgement, Verdict
from monitor.recipe.vessel import Shape, Vessel
from monitor.sinks.reviews import Reviews
from monitor.sinks.spool import Spool
from monitor.wire.readings import Channel, NodeId, Reading

SITE = "rye"
NODE = NodeId("urn:dev:mac:020000fffe5e0001")
CHANNELS = (Channel.AIR_TEMP, Channel.HUMIDITY, Channel.DOUGH_TEMP, Channel.DISTANCE)
TUB = Batch(
    BatchId(0),
    'Linden "loaf", tub 3',
    Stage.BULK_RISE,
    START,
    Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0),
    nodes=tuple((channel, NODE) for channel in CHANNELS),
)


def reading(seq: int, at_min: float, channel: Channel = Channel.AIR_TEMP, value: float = 25.0) -> Reading:
    at = START + timedelta(minutes=at_min)
    return Reading(NODE, "0a0a0a0a", seq, channel, value, at, at)


def fill(path: Path, minutes: int) -> None:
    """A batch with all that belongs to it, and so many minutes of one node."""
    with Reviews(path) as book:
        batch = book.add_batch(TUB)
        book.append(reading(k, k, channel, 20.0 + k % 7) for k in range(1, minutes + 1) for channel in CHANNELS)
        fan = tuple(FanPoint(START + timedelta(minutes=k), *(1.0 * k,) * 5) for k in range(91))
        for k in range(1, 11):
            at = START + timedelta(minutes=k)
            alert = Alert(Subject.batch(batch.id), AlertKind.READY, 1, START, at)
            text = Message(alert.message_id, batch.id, alert.kind, 1, "Linden", "ready", at)
            change = Change(alert.subject, alert.kind, 1, at, Phase.UNACKNOWLEDGED)
            outlook = Outlook(at, State.RISING, Band(k - 1.0, 1.0 * k, k + 1.0), fan=fan)
            book.save_step(batch.id, outlook, [alert], [text], [change])
        book.add_level(batch.id, START + timedelta(minutes=5), 92.0, 3.0)
        book.save_judgement(batch.id, Judgement(START, Verdict.RIGHT, "fine", bytes(range(256)) * 600))
        book.note_node(NODE, "serial bench", START)


@contextmanager
def sent_by(path: Path, influx: Influx, *, page_rows: int = 500) -> Iterator[Sender]:
    """A sender at work on a store."""
    sender = Sender(path, Centre(influx.url), TOKEN, SITE, SetClock(), page_rows)
    sender.start()
    yield sender
    sender.stop()


def is_drained(path: Path, influx: Influx) -> bool:
    with Spool(path) as spool:
        return spool.backlog(target_of(Centre(influx.url), SITE)).rows == 0


def drain(path: Path, influx: Influx) -> None:
    """Send all there is."""
    with sent_by(path, influx):
        wait_until(lambda: is_drained(path, influx) and influx.count("node", "node") == 1, "all is sent")


def everything(influx: Influx) -> dict[str, list[object]]:
    """Every point in the bucket but the notes of deliveries."""
    names = [name for series in influx.do("SHOW MEASUREMENTS") for (name,) in series["values"] if name != "delivery"]
    return {name: influx.do(f'SELECT * FROM "{name}"') for name in names}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits seconds for a retry here."""
    monkeypatch.setattr(sending, "FIRST_RETRY_S", 0.05)
    monkeypatch.setattr(sending, "LAST_RETRY_S", 0.2)
    monkeypatch.setattr(sending, "TURN_S", 0.05)


def test_a_week_without_its_server_and_a_kill_in_mid_drain_lose_nothing(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    influx.kill()
    with sent_by(path, influx) as sender:
        fill(path, 7 * 24 * 60 // 2)  # a week at a reading in two minutes of four channels
        wait_until(lambda: any("502" in trouble.what for trouble in sender.troubles()), "the server is missed")
        influx.start()
        wait_until(lambda: influx.count("reading", "seq") > 2000, "some of it has come")
        influx.kill()
        assert not is_drained(path, influx)
        influx.start()
        wait_until(lambda: is_drained(path, influx), "all is sent")
        assert list(sender.troubles()) == []
    with Spool(path) as spool:
        counts = spool.counts()
    assert counts["reading"] == 4 * 5040 + 1
    field = {"reading": "seq", "outlook": "body"}
    found = {table: influx.count(table, field.get(table, "row")) for table in counts}
    assert found == counts
    ids = influx.do("SELECT seq, boot FROM reading WHERE node <> 'eye' GROUP BY channel")
    seqs = {series["tags"]["channel"]: sorted(seq for _, seq, _ in series["values"]) for series in ids}
    assert seqs == {channel.value: list(range(1, 5041)) for channel in CHANNELS}


def test_everything_sent_once_more_changes_nothing(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 60)
    drain(path, influx)
    before = everything(influx)
    with Spool(path) as spool:
        spool.send_again(target_of(Centre(influx.url), SITE))
    drain(path, influx)
    assert everything(influx) == before
    assert {"reading", "outlook", "batch", "alert", "alert_change", "outbox", "judgement", "node"} <= before.keys()


def test_packs_of_one_microsecond_stand_side_by_side(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 0)
    with Spool(path) as spool:
        spool.append(reading(seq, 1.0) for seq in range(1, 901))
    drain(path, influx)
    assert influx.count("reading", "seq") == 901


def test_a_wrong_token_is_told_and_nothing_is_lost_until_it_is_right(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.let_in("another")
    with sent_by(path, influx) as sender:
        wait_until(lambda: any("token is not known" in trouble.what for trouble in sender.troubles()), "it is told")
        with Spool(path) as spool:
            assert spool.parked(target_of(Centre(influx.url), SITE)) == []
        influx.let_in(TOKEN)
        wait_until(lambda: is_drained(path, influx), "all is sent")
    assert influx.count("reading", "seq") == 41


def test_a_missing_bucket_is_told_and_nothing_is_lost_until_it_is_there(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.do(f'DROP DATABASE "{BUCKET}"')
    with sent_by(path, influx) as sender:
        wait_until(lambda: any("no such bucket" in trouble.what for trouble in sender.troubles()), "it is told")
        influx.do(f'CREATE DATABASE "{BUCKET}"')
        wait_until(lambda: is_drained(path, influx), "all is sent")
    assert influx.count("reading", "seq") == 41


def test_a_reading_that_the_server_cannot_take_is_set_aside_alone(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 50)
    long_ago = START - timedelta(days=60)  # a shard of its own, in which another program has made values texts
    influx.write(f'reading,site=other value="warm" {int(long_ago.timestamp())}000000000')
    with Spool(path) as spool:
        spool.append([replace(reading(999, 0), measured_at=long_ago)])
        spool.append([reading(1000, 100)])
    with sent_by(path, influx) as sender:
        wait_until(lambda: is_drained(path, influx), "all is sent")
        wait_until(lambda: any("cannot take 1 rows" in trouble.what for trouble in sender.troubles()), "it is told")
    with Spool(path) as spool:
        ((table, number, reason),) = spool.parked(target_of(Centre(influx.url), SITE))
    assert (table, number) == ("reading", 202)
    assert "field type conflict" in reason
    assert influx.count("reading", "seq") == 202  # 200, the level read by eye, and the last
    influx.do("DROP MEASUREMENT reading")
    drain(path, influx)  # the next start tries once more what was set aside
    assert influx.count("reading", "seq") == 1


def test_a_server_that_takes_nothing_at_all_is_no_reason_to_set_everything_aside(
    tmp_path: Path, influx: Influx
) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 200)
    influx.write(f'reading,site=other value="warm" {int(START.timestamp())}000000000')
    with sent_by(path, influx) as sender:
        wait_until(lambda: any("none is taken" in trouble.what for trouble in sender.troubles()), "it is told")
    with Spool(path) as spool:
        assert spool.parked(target_of(Centre(influx.url), SITE)) == []


def test_what_is_older_than_the_server_keeps_does_not_stop_the_rest(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.do(f'ALTER RETENTION POLICY "autogen" ON "{BUCKET}" DURATION 1h SHARD DURATION 1h')
    with sent_by(path, influx):
        wait_until(lambda: is_drained(path, influx), "all is sent")
    with Spool(path) as spool:
        assert spool.parked(target_of(Centre(influx.url), SITE)) == []
    assert influx.count("reading", "seq") == 0


def test_the_number_of_series_does_not_grow_with_batches(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 1)
    with Spool(path) as spool:
        for k in range(200):
            batch = spool.add_batch(replace(TUB, started_at=START + timedelta(hours=k)))
            spool.save_step(batch.id, Outlook(batch.started_at, State.SLACK), [], [])
            spool.add_level(batch.id, batch.started_at, 90.0, 3.0)
            spool.add_event(batch.id, Event(batch.started_at, EventKind.FOLD))
    drain(path, influx)
    assert influx.count("batch", "row") == 201
    series = influx.do("SHOW SERIES")[0]["values"]
    per_table = {name: sum(key.startswith(f"{name},") for (key,) in series) for name in ("batch", "outlook", "event")}
    assert per_table == {"batch": 20, "outlook": 20, "event": 20}
    assert sum(key.startswith("reading,") for (key,) in series) == 5  # four channels, and levels read by eye
