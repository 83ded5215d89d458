"""Everything a site's store holds reaches a real InfluxDB once, whatever fails on the way."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from central_site import CHANNELS, NODE, SITE, TUB, drain, fill, is_drained, reading, sent_by
from harness import START, wait_until
from influx import BUCKET, TOKEN, Influx
from msgspec.structs import asdict

from monitor.alerts.troubles import CentralGetsNothing, CentralRefusesRows, Trouble
from monitor.dough.outlook import Outlook, State
from monitor.errors import CentralKind
from monitor.settings.shops import Centre
from monitor.shops.buckets import means_query
from monitor.shops.sender import Sender, target_of
from monitor.store.spool import STREAMS
from monitor.store.store import Store
from monitor.wire.readings import NodeId

BESIDE = NodeId(f"{NODE}-beside")
pytestmark = pytest.mark.usefixtures("quick_retries")


def troubles_of(sender: Sender, type_: type[Trouble], **values: object) -> bool:
    """Whether the sender has a trouble of a kind, with such values."""
    return any(
        isinstance(found := symptom.trouble, type_) and values.items() <= asdict(found).items()
        for symptom in sender.troubles()
    )


def everything(influx: Influx) -> dict[str, list[object]]:
    """Every point that is spooled."""
    return {name: influx.do(f'SELECT * FROM "{name}"') for name in STREAMS}


def readings_there(influx: Influx) -> int:
    """Sound and doubtful ones."""
    return influx.count("reading", "value") + influx.count("reading", "flag")


def test_a_week_without_its_server_and_a_kill_in_mid_drain_lose_nothing(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    influx.kill()
    with sent_by(path, influx) as sender:
        fill(path, 7 * 24 * 60 // 2)  # a week at a reading in two minutes of four channels
        wait_until(lambda: troubles_of(sender, CentralGetsNothing, status=502), "the server is missed")
        influx.start()
        wait_until(lambda: readings_there(influx) > 2000, "some of it has come")
        influx.kill()
        assert not is_drained(path, influx)
        influx.start()
        wait_until(lambda: is_drained(path, influx), "all is sent")
        assert list(sender.troubles()) == []
    with Store(path) as store:
        counts = store.spool.counts()
    assert counts["reading"] == 4 * 5040 + 3
    assert influx.count("outlook", "state") == counts["outlook"] == 10
    assert influx.count("alert", "phase") == counts["alert"] == 10
    assert readings_there(influx) == counts["reading"]
    found = influx.do("SELECT value FROM reading WHERE node <> 'eye' GROUP BY channel")
    minutes = {series["tags"]["channel"]: [ns // 60_000_000_000 for ns, _ in series["values"]] for series in found}
    begun = int(START.timestamp()) // 60
    assert minutes == {channel.value: list(range(begun + 1, begun + 5041)) for channel in CHANNELS}


def test_everything_sent_once_more_changes_nothing(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 60)
    drain(path, influx)
    with Store(path) as store:
        store.readings.add(replace(reading(n, n), node=BESIDE) for n in range(12))
    drain(path, influx)
    with Store(path) as store:
        store.rollups.step(START + timedelta(days=60), START + timedelta(days=30))
    drain(path, influx)
    before = everything(influx)
    with Store(path) as store:
        store.spool.send_again(target_of(Centre(influx.url), SITE))
    drain(path, influx)
    assert everything(influx) == before
    assert all(before.values())


def test_five_minutes_of_old_readings_are_what_the_centre_makes_of_the_readings_themselves(
    tmp_path: Path, influx: Influx
) -> None:
    path = tmp_path / "proofing.sqlite"
    with Store(path) as store:
        store.nodes.note(NODE, "serial bench", START)
        store.readings.add(reading(n, n, value=float(n % 7)) for n in range(60))
    drain(path, influx)
    centre = Centre(influx.url)
    asked = 'SELECT * FROM "reading_5m"'
    influx.do(f"{means_query(centre)} WHERE time < now() GROUP BY time(5m), site, node, channel")
    made_there = influx.do(asked)
    with Store(path) as store:
        assert store.rollups.step(START + timedelta(days=60), START + timedelta(days=30)) == (59, 55)
        drain(path, influx)
        assert influx.do(asked) == made_there
        assert store.spool.backlog(target_of(centre, SITE)).rows == 0


def test_packs_of_one_microsecond_stand_side_by_side(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 0)
    with Store(path) as store:
        store.readings.add(reading(seq, 1.0) for seq in range(1, 901))
    drain(path, influx)
    assert readings_there(influx) == 903


def test_a_wrong_token_is_told_and_nothing_is_lost_until_it_is_right(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.let_in("another")
    with sent_by(path, influx) as sender:
        wait_until(lambda: troubles_of(sender, CentralGetsNothing, status=401), "it is told")
        with Store(path) as store:
            assert store.spool.parked(target_of(Centre(influx.url), SITE)) == []
        influx.let_in(TOKEN)
        wait_until(lambda: is_drained(path, influx), "all is sent")
    assert readings_there(influx) == 43


def test_a_missing_bucket_is_told_and_nothing_is_lost_until_it_is_there(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.do(f'DROP DATABASE "{BUCKET}"')
    with sent_by(path, influx) as sender:
        wait_until(lambda: troubles_of(sender, CentralGetsNothing, status=404), "it is told")
        influx.do(f'CREATE DATABASE "{BUCKET}"')
        wait_until(lambda: is_drained(path, influx), "all is sent")
    assert readings_there(influx) == 43


def test_a_reading_that_the_server_cannot_take_is_set_aside_alone(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 50)
    long_ago = START - timedelta(days=60)  # a shard of its own, in which another program has made values texts
    influx.write(f'reading,site=other value="warm" {int(long_ago.timestamp())}000000000')
    with Store(path) as store:
        store.readings.add([replace(reading(999, 0), measured_at=long_ago)])
        store.readings.add([reading(1000, 100)])
    with sent_by(path, influx) as sender:
        wait_until(lambda: is_drained(path, influx), "all is sent")
        wait_until(lambda: troubles_of(sender, CentralRefusesRows, rows=1), "it is told")
    with Store(path) as store:
        ((table, number, reason),) = store.spool.parked(target_of(Centre(influx.url), SITE))
    assert (table, number) == ("reading", 204)
    assert "field type conflict" in reason
    assert readings_there(influx) == 204  # all but that one
    influx.do("DROP MEASUREMENT reading")
    drain(path, influx)  # the next start tries once more what was set aside
    assert readings_there(influx) == 1


def test_a_server_that_takes_nothing_at_all_is_no_reason_to_set_everything_aside(
    tmp_path: Path, influx: Influx
) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 200)
    influx.write(f'reading,site=other value="warm" {int(START.timestamp())}000000000')
    with sent_by(path, influx) as sender:
        wait_until(lambda: troubles_of(sender, CentralGetsNothing, kind=CentralKind.SHUT), "it is told")
    with Store(path) as store:
        assert store.spool.parked(target_of(Centre(influx.url), SITE)) == []


def test_what_is_older_than_the_server_keeps_does_not_stop_the_rest(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 10)
    influx.do(f'ALTER RETENTION POLICY "autogen" ON "{BUCKET}" DURATION 1h SHARD DURATION 1h')
    with sent_by(path, influx):
        wait_until(lambda: is_drained(path, influx), "all is sent")
    with Store(path) as store:
        assert store.spool.parked(target_of(Centre(influx.url), SITE)) == []
    assert readings_there(influx) == 0


def test_the_number_of_series_does_not_grow_with_batches(tmp_path: Path, influx: Influx) -> None:
    path = tmp_path / "proofing.sqlite"
    fill(path, 1)
    with Store(path) as store:
        for k in range(200):
            batch = store.batches.add(replace(TUB, started_at=START + timedelta(hours=k)))
            store.save_step(batch.id, Outlook(batch.started_at, State.NO_RISE), [], [])
            store.readings.add_level(batch.id, batch.started_at, 90.0, 3.0)
    drain(path, influx)
    assert influx.count("outlook", "state") == 210
    series = influx.do("SHOW SERIES")[0]["values"]
    assert sum(key.startswith("outlook,") for (key,) in series) == 20
    assert sum(key.startswith("reading,") for (key,) in series) == 5  # four channels, and levels read by eye
