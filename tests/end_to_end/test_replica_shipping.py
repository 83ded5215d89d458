"""The store shipped by the command, with a real Litestream: what is told, what is refused, what is brought back."""

import contextlib
import json
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import object_store
import pytest
import sftp_server
from harness import SetClock, SmallDisk, wait_until
from made_up import batch_of, readings_of
from programs import PROGRAM, environment, run_program
from replicas import litestream, rows_of

from monitor.alerts.troubles import ReplicaBegunAnew, ReplicaLate, StoreOlder, Trouble
from monitor.archive.backup import CHECKSUM
from monitor.clock import wall_clock
from monitor.errors import ReplicaError, ReplicaFault
from monitor.replica.state import Status, folder_of, read_status
from monitor.replica.watch import ReplicaWatch
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.replica import Target
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.store import Store
from monitor.wording.reader import Reader
from monitor.wording.troubles import remedy_text


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    with Store(folder / DATABASE_NAME) as store:
        store.batches.add(batch_of("Tub 1"))
        store.readings.add(readings_of(batch_of("Tub 1"), hours=1.0))
    there(folder).mkdir()
    (folder / "config.toml").write_text(f'[replica]\nurl = "{there(folder).as_uri()}"\nevery_s = 1\n')
    return folder


def there(data_dir: Path) -> Path:
    return data_dir.parent / "there"


def url_of(data_dir: Path) -> str:
    return there(data_dir).as_uri()


def status_of(data_dir: Path) -> Status:
    return read_status(data_dir, url_of(data_dir))


@contextmanager
def shipping(data_dir: Path) -> Iterator["subprocess.Popen[bytes]"]:
    """``replica run`` until the end of the block; it ends with status 0."""
    with (data_dir / "replica.log").open("ab") as log:
        process = subprocess.Popen(
            [*PROGRAM, "replica", "run", "--data-dir", str(data_dir)], stdout=log, stderr=log, env=environment()
        )
    try:
        yield process
    finally:
        process.send_signal(signal.SIGTERM)
        status = process.wait()
    assert status == 0, (data_dir / "replica.log").read_text()
    assert "Traceback" not in (data_dir / "replica.log").read_text()


def wait_until_shipped(data_dir: Path) -> None:
    """Until everything that is committed now lies there."""
    now = wall_clock()

    def is_there() -> bool:
        shipped_at = status_of(data_dir).shipped_at
        return shipped_at is not None and shipped_at >= now

    wait_until(is_there, "everything is shipped")


def troubles(data_dir: Path) -> list[Trouble]:
    """What the collector's watch has to tell."""
    found = load_config(data_dir, {}).shipping
    assert found is not None
    return [each.trouble for each in ReplicaWatch(data_dir, found, SetClock()).troubles()]


def add_batch(data_dir: Path, name: str) -> None:
    with Store(data_dir / DATABASE_NAME) as store:
        store.batches.add(batch_of(name))


def test_what_was_shipped_is_brought_back_on_another_machine_and_shipped_on_from_there(
    data_dir: Path, tmp_path: Path
) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        add_batch(data_dir, "Tub 2")
        wait_until_shipped(data_dir)
    assert troubles(data_dir) == []
    before = rows_of(data_dir / DATABASE_NAME)
    other = tmp_path / "other"
    other.mkdir()
    shutil.copy(data_dir / "config.toml", other / "config.toml")
    made = run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", other)
    assert made.returncode == 0, made.stderr
    assert "2 batches" in made.stdout
    assert rows_of(other / DATABASE_NAME) == before
    with shipping(other):
        add_batch(other, "Tub 3")
        wait_until_shipped(other)
    assert run_program("backup", "restore", there(data_dir), "--yes", "--data-dir", data_dir).returncode == 0
    assert rows_of(data_dir / DATABASE_NAME) == rows_of(other / DATABASE_NAME)


def test_without_yes_nothing_is_done_and_it_is_said_what_would_be(data_dir: Path, tmp_path: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
    asked = run_program("backup", "restore", url_of(data_dir), "--data-dir", tmp_path / "other")
    assert asked.returncode == 2
    assert "1 batch" in asked.stderr
    assert "Say --yes to do it" in asked.stderr
    assert list((tmp_path / "other").iterdir()) == []


def test_bringing_back_is_refused_while_a_collector_or_the_shipping_is_at_work(data_dir: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        refused = run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", data_dir)
        assert (refused.returncode, "its store is being shipped" in refused.stderr) == (2, True)
    with hold_collector_lock(data_dir):
        refused = run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", data_dir)
        assert (refused.returncode, "a collector is at work here already" in refused.stderr) == (2, True)


def test_a_second_one_is_refused_and_nothing_of_a_secret_is_seen(data_dir: Path) -> None:
    secrets = data_dir / "secrets.toml"
    secrets.write_text('replica_password = "horse-battery"\nreplica_secret_access_key = "staple-correct"\n')
    secrets.chmod(0o600)
    with shipping(data_dir) as process:
        wait_until_shipped(data_dir)
        assert "is being shipped" in run_program("replica", "run", "--data-dir", data_dir).stderr
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        assert children
        for pid in (str(process.pid), *children):
            with contextlib.suppress(OSError):  # one that asked has its answer
                seen = Path(f"/proc/{pid}/cmdline").read_bytes() + Path(f"/proc/{pid}/environ").read_bytes()
                assert b"horse-battery" not in seen
                assert b"staple-correct" not in seen
    files = [path for path in data_dir.rglob("*") if path.is_file() and path != secrets]
    assert not [path for path in files if re.search(rb"horse-battery|staple-correct", path.read_bytes())]


def test_a_place_that_holds_another_store_is_left_alone_and_told(data_dir: Path, tmp_path: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
    lying = sorted(there(data_dir).rglob("*.ltx"))
    other = tmp_path / "other"
    add_batch(other, "Not the same")
    shutil.copy(data_dir / "config.toml", other / "config.toml")
    with shipping(other):
        wait_until(lambda: status_of(other).fault is ReplicaFault.TAKEN, "it is seen")
        assert sorted(there(data_dir).rglob("*.ltx")) == lying
    told = run_program("check", "--data-dir", other).stdout
    assert "nothing ships the store" in told


def test_a_store_replaced_by_an_older_one_is_noticed_and_shipped_on(data_dir: Path, tmp_path: Path) -> None:
    (tmp_path / "stick").mkdir()
    assert run_program("backup", "make", tmp_path / "stick", "--data-dir", data_dir).returncode == 0
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        add_batch(data_dir, "Tub 2")
        wait_until_shipped(data_dir)
    (backup,) = (path for path in (tmp_path / "stick").iterdir() if path.suffix != CHECKSUM)
    assert run_program("backup", "restore", backup, "--yes", "--data-dir", data_dir).returncode == 0
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        (told,) = troubles(data_dir)
        assert isinstance(told, StoreOlder)
    assert run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", tmp_path / "b").returncode == 0
    assert rows_of(tmp_path / "b" / DATABASE_NAME) == rows_of(data_dir / DATABASE_NAME)
    said = re.search(r"`proofing-monitor ([^`]+)`", remedy_text(told, Reader(UTC)))
    assert said is not None
    made = run_program(*said[1].split(), "--data-dir", tmp_path / "c")
    assert made.returncode == 0, made.stderr
    with Store(tmp_path / "c" / DATABASE_NAME) as store:
        assert [batch.name for batch in store.batches.all()] == ["Tub 1", "Tub 2"]


def test_a_store_that_is_set_aside_in_the_middle_of_it_is_followed_by_the_new_one(
    data_dir: Path, tmp_path: Path
) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        for part in data_dir.glob(f"{DATABASE_NAME}*"):
            part.rename(data_dir / f"aside{part.name.removeprefix(DATABASE_NAME)}")
        add_batch(data_dir, "New")
        wait_until_shipped(data_dir)
    assert run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", tmp_path / "b").returncode == 0
    assert rows_of(tmp_path / "b" / DATABASE_NAME) == rows_of(data_dir / DATABASE_NAME)


def test_a_place_that_was_emptied_is_begun_anew_and_told(data_dir: Path, tmp_path: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
    shutil.rmtree(there(data_dir))
    there(data_dir).mkdir()
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        assert troubles(data_dir) == [ReplicaBegunAnew(url_of(data_dir))]
    assert run_program("backup", "restore", url_of(data_dir), "--yes", "--data-dir", tmp_path / "b").returncode == 0
    assert rows_of(tmp_path / "b" / DATABASE_NAME) == rows_of(data_dir / DATABASE_NAME)


def test_a_drive_that_is_pulled_out_is_not_taken_for_an_empty_one(data_dir: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        there(data_dir).rename(data_dir.parent / "pulled out")
        add_batch(data_dir, "Tub 2")
        wait_until(lambda: status_of(data_dir).fault is ReplicaFault.NO_FOLDER, "it is seen")
        assert not there(data_dir).exists()
        (data_dir.parent / "pulled out").rename(there(data_dir))
        wait_until_shipped(data_dir)
    assert troubles(data_dir) == []


def test_the_store_shipped_whole_once_a_day_is_still_the_same(data_dir: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
    add_batch(data_dir, "Tub 2")
    litestream(data_dir, Target(url_of(data_dir)))._answer("replicate", "-once", "-force-snapshot")
    with shipping(data_dir):
        wait_until_shipped(data_dir)
    assert troubles(data_dir) == []


def test_a_drill_brings_back_what_was_shipped_and_compares_it(data_dir: Path) -> None:
    with shipping(data_dir):
        wait_until_shipped(data_dir)
        before = status_of(data_dir).marks
        assert before is not None
        assert len(before) <= 2  # however many files lie there
        drill = run_program("backup", "verify", url_of(data_dir), "--data-dir", data_dir)
        assert re.search(r"1 batch, \d+ readings, the newest of .*; as the database here\n", drill.stdout), drill.stdout
        assert run_program("backup", "verify", there(data_dir), "--data-dir", data_dir).stdout.endswith("here\n")
    with Store(data_dir / DATABASE_NAME) as store:
        store.batches.add(batch_of("Tub 2"))
        with store.writing() as connection:
            connection.execute("UPDATE batch SET name = 'Other' WHERE name = 'Tub 1'")
    drill = run_program("backup", "verify", url_of(data_dir), "--data-dir", data_dir)
    assert "; 2 rows of the database here are not in it as they are" in drill.stdout, drill.stdout + drill.stderr
    assert status_of(data_dir).marks == before
    assert [each.name for each in data_dir.iterdir() if each.name.startswith("brought-back")] == []


def test_a_disk_that_is_full_and_one_that_can_only_be_read_are_told_and_go_on_when_mended(
    data_dir: Path, small_disk: SmallDisk
) -> None:
    place = small_disk.folder / "there"
    (data_dir / "config.toml").write_text(f'[replica]\nurl = "{place.as_uri()}"\nevery_s = 1\n')
    place.mkdir()

    def status() -> Status:
        return read_status(data_dir, place.as_uri())

    def is_shipped_since(at: datetime) -> bool:
        shipped_at = status().shipped_at
        return shipped_at is not None and shipped_at >= at

    with shipping(data_dir):
        wait_until(lambda: status().shipped_at is not None, "it is shipped")
        small_disk.fill()
        add_batch(data_dir, "Tub 2")
        wait_until(lambda: status().fault is ReplicaFault.FULL, "that it is full is seen")
        told = run_program("check", "--data-dir", data_dir).stdout
        assert "replica" in told
        assert "make room there" in told
        small_disk.make_room()
        mended_at = wall_clock()
        wait_until(lambda: is_shipped_since(mended_at), "it goes on")
        small_disk.set_writable(False)
        add_batch(data_dir, "Tub 3")
        wait_until(lambda: status().fault is ReplicaFault.READ_ONLY, "that it can only be read is seen")
        assert "let this user write there" in run_program("check", "--data-dir", data_dir).stdout
        small_disk.set_writable(True)
        mended_at = wall_clock()
        wait_until(lambda: is_shipped_since(mended_at), "it goes on")
    drill = run_program("backup", "verify", place, "--data-dir", data_dir)
    assert "3 batches" in drill.stdout
    assert "as the database here" in drill.stdout


def test_a_bucket_is_shipped_to_and_brought_back_from_and_tells_wrong_keys(
    data_dir: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    secrets = data_dir / "secrets.toml"

    def log_in_as(name: str) -> None:
        secrets.write_text(f'replica_access_key_id = "{name}"\nreplica_secret_access_key = "staple-correct"\n')
        secrets.chmod(0o600)

    with object_store.served() as server:
        url = f"s3://{object_store.BUCKET}/rye/street"
        endpoint = f"http://127.0.0.1:{server.server_port}"
        (data_dir / "config.toml").write_text(f'[replica]\nurl = "{url}"\nendpoint = "{endpoint}"\nevery_s = 1\n')
        log_in_as("stranger")
        with shipping(data_dir):
            wait_until(lambda: read_status(data_dir, url).fault is ReplicaFault.SHUT, "nobody is let in")
        assert server.objects == {}
        log_in_as(object_store.KEY_NAME)
        with shipping(data_dir):
            wait_until(lambda: read_status(data_dir, url).shipped_at is not None, "it is shipped")
        drill = run_program("backup", "verify", url, "--data-dir", data_dir)
        assert "as the database here" in drill.stdout, drill.stderr
        nowhere = run_program("backup", "verify", "s3://elsewhere/rye", "--data-dir", data_dir)
        assert "NoSuchBucket" in nowhere.stderr
    assert "staple-correct" not in (data_dir / "replica.log").read_text()
    monkeypatch.setattr("monitor.replica.litestream.ANSWER_S", 1.0)
    with pytest.raises(ReplicaError) as away:  # Litestream itself tries for four minutes
        litestream(data_dir, Target(url, endpoint=endpoint)).bring_back(tmp_path / "back")
    assert away.value.fault is ReplicaFault.AWAY


def test_an_sftp_server_is_shipped_to_by_key_and_password_and_must_be_the_right_one(
    data_dir: Path, tmp_path: Path
) -> None:
    (there(data_dir) / "keys").mkdir()
    with sftp_server.served(there(data_dir) / "keys") as server:
        url = f"sftp://{sftp_server.USER}@127.0.0.1:{server.port}{tmp_path}/there/rye"

        def fault_with(host_key: str, more: str, password: str) -> ReplicaFault | None:
            """Why nothing is shipped with these settings; None once it is."""
            text = f'[replica]\nurl = "{url}"\nhost_key = "{host_key}"\nevery_s = 1\n{more}'
            (data_dir / "config.toml").write_text(text)
            (data_dir / "secrets.toml").write_text(f'replica_password = "{password}"\n')
            (data_dir / "secrets.toml").chmod(0o600)
            begun_at = wall_clock()

            def is_told() -> bool:
                status = read_status(data_dir, url)
                is_shipped = status.shipped_at is not None and status.shipped_at >= begun_at
                return status.fault is not None or is_shipped

            with shipping(data_dir):
                wait_until(is_told, "it is shipped, or why not is told")
                return read_status(data_dir, url).fault

        another = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIGu1qgB9cCkpN5Z8d5nXQq0N8cYkz7Zl5x5mEoC6GGwd"
        assert fault_with(another, "", sftp_server.PASSWORD) is ReplicaFault.SHUT
        assert list(there(data_dir).glob("rye")) == []
        (folder_of(data_dir) / "status.json").unlink()
        assert fault_with(server.host_key, "", "wrong") is ReplicaFault.SHUT
        (folder_of(data_dir) / "status.json").unlink()
        assert fault_with(server.host_key, "", sftp_server.PASSWORD) is None
        assert fault_with(server.host_key, f'key_file = "{server.key_file}"\n', "wrong") is None
        drill = run_program("backup", "verify", url, "--data-dir", data_dir)
        assert "as the database here" in drill.stdout, drill.stderr


def test_nobody_who_ships_is_told_and_never_is_said(data_dir: Path) -> None:
    found = load_config(data_dir, {}).shipping
    assert found is not None
    watch = ReplicaWatch(data_dir, found, SetClock())
    assert list(watch.troubles()) == []  # it may be about to start
    folder_of(data_dir).mkdir()
    (folder_of(data_dir) / "status.json").write_text(
        json.dumps({"url": url_of(data_dir), "shipped_at": "2026-03-01T05:40:00Z"})
    )
    (told,) = troubles(data_dir)
    assert isinstance(told, ReplicaLate)
    assert told.fault is ReplicaFault.NOT_RUNNING


def test_what_is_missing_is_said(tmp_path: Path) -> None:
    refused = run_program("replica", "run", "--data-dir", tmp_path)
    assert (refused.returncode, "write [replica] and its url" in refused.stderr) == (2, True)
