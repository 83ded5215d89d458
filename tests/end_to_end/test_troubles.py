"""What goes wrong around a running collector: full disk, locked or damaged database, a hang; what it does and says."""

import contextlib
import json
import os
import shutil
import signal
import socket
import sqlite3
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from harness import PtyPair, SmallDisk, free_port, wait_until
from programs import CollectorProcess, framed, good_frame

from monitor.alerts.dough import AlertKind, Phase, Sort, Subject
from monitor.archive.backup import verified
from monitor.cli import main
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.damage import damage_of, set_aside_before
from monitor.store.store import Store
from monitor.wire.readings import Channel, NodeId

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
LONG_AGO, FAR_AHEAD = datetime(2020, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


def stored(store: Store) -> set[int]:
    return {reading.seq for reading in store.readings.between(NODE, Channel.DISTANCE, LONG_AGO, FAR_AHEAD)}


def ready(collector: CollectorProcess, times: int = 1) -> None:
    wait_until(lambda: collector.log.read_text().count("open source=serial") >= times, "the line is open")


def is_answered(line: PtyPair, seq: int, within_s: float) -> bool:
    """True when a pack that is sent is acknowledged within so long."""
    line.send(good_frame(NODE, seq) + b"\n")
    os.set_blocking(line.node_fd, False)
    heard = b""

    def hear() -> bool:
        nonlocal heard
        with contextlib.suppress(BlockingIOError):
            heard += os.read(line.node_fd, 4096)
        return f"!0a1b2c3d {seq} ".encode() in heard

    try:
        wait_until(hear, "an acknowledgement", within_s)
    except pytest.fail.Exception:
        return False
    finally:
        os.set_blocking(line.node_fd, True)
    return True


def test_a_full_disk_acknowledges_nothing_and_goes_on_when_there_is_room(
    small_disk: SmallDisk, pty_pair: PtyPair
) -> None:
    with CollectorProcess(small_disk.folder / "data", "--serial", str(pty_pair.path), log=small_disk.log) as collector:
        ready(collector)
        assert is_answered(pty_pair, 1, 60.0)
        small_disk.fill()
        seq = 2
        while is_answered(pty_pair, seq, 3.0):  # what the database still has room for in itself
            seq += 1
            assert seq < 200, "a full disk is never noticed"
        wait_until(lambda: "state=failing" in collector.log.read_text(), "it says so")
        assert not is_answered(pty_pair, seq + 1, 1.0)
        wait_until(lambda: "Nothing can be stored" in collector.log.read_text(), "its keeper is told")
        small_disk.make_room()
        assert is_answered(pty_pair, seq + 2, 60.0)
        wait_until(
            lambda: "No longer so: nothing can be stored" in collector.log.read_text(),
            "its keeper is told that it is over",
        )
        with collector.open_store() as store:
            wait_until(lambda: Phase.RETURNED in told_of(store, "store"), "the history has it, too, afterwards")
            assert told_of(store, "store")[0] is Phase.UNACKNOWLEDGED
            assert stored(store) == set(range(1, seq + 3)), "what was held is kept as well"


def test_a_locked_database_is_waited_for(tmp_path: Path, pty_pair: PtyPair) -> None:
    with CollectorProcess(tmp_path / "data", "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        assert is_answered(pty_pair, 1, 60.0)
        other = sqlite3.connect(tmp_path / "data" / DATABASE_NAME, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        assert not is_answered(pty_pair, 2, 1.0)
        wait_until(lambda: "locked" in collector.log.read_text(), "it says what is wrong")
        other.execute("ROLLBACK")
        other.close()
        assert is_answered(pty_pair, 3, 60.0)
        with collector.open_store() as store:
            assert stored(store) == {1, 2, 3}


def told_of(store: Store, trouble: str) -> list[Phase]:
    """The states that one of the monitor's own troubles came into."""
    subject = Subject(Sort.MONITOR, trouble)
    return [change.phase for change in store.alerts.history() if change.subject == subject]


def test_a_node_that_starts_again_and_again_is_told(
    tmp_path: Path, pty_pair: PtyPair, capsys: pytest.CaptureFixture[str]
) -> None:
    with CollectorProcess(tmp_path / "data", "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        for boot in range(6):
            body = f'[{{"bn":"{NODE}_","n":"air","u":"Cel","v":25}}]'
            pty_pair.send(framed(body, 1, f"0000000{boot}") + b"\n")
        wait_until(lambda: "has started anew 5 times" in collector.log.read_text(), "its keeper is told")
        with collector.open_store() as store:
            wait_until(lambda: bool(told_of(store, f"reboots {NODE}")), "it stands in the history")
            (alert,) = [each for each in store.alerts.active() if each.kind is AlertKind.TROUBLE]
        data_dir = str(collector.data_dir)
        assert main(["alerts", "seen", str(alert.number), "--data-dir", data_dir]) == 0
        assert main(["alerts", "history", "--data-dir", data_dir]) == 0
        said = capsys.readouterr().out
        assert "the monitor: monitor in trouble 1: unacknowledged (node" in said
        assert "has started anew 5 times" in said


def spoil(database: Path) -> None:
    """Overwrite pages of the readings, and leave the first page as it is."""
    connection = sqlite3.connect(database)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    with database.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * (database.stat().st_size - 4096))


def begun_anew(collector: CollectorProcess, line: PtyPair, seq: int) -> None:
    wait_until(lambda: "state=damaged" in collector.log.read_text(), "it sees the damage")
    wait_until(lambda: "Monitor needs you" in collector.log.read_text(), "its keeper is told")
    said = collector.log.read_text()
    assert "backup restore" in said
    assert is_answered(line, seq, 60.0)
    (aside,) = set_aside_before(collector.data_dir / DATABASE_NAME)
    assert aside.name in said
    with collector.open_store() as store:
        assert seq in stored(store)


def test_a_database_found_damaged_at_the_start_is_set_aside(tmp_path: Path, pty_pair: PtyPair) -> None:
    data_dir = tmp_path / "data"
    with CollectorProcess(data_dir, "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        assert is_answered(pty_pair, 1, 60.0)
    spoil(data_dir / DATABASE_NAME)
    with CollectorProcess(data_dir, "--serial", str(pty_pair.path)) as collector:
        ready(collector, 2)
        begun_anew(collector, pty_pair, 2)


def test_a_database_damaged_in_the_middle_of_the_work_is_set_aside(tmp_path: Path, pty_pair: PtyPair) -> None:
    data_dir = tmp_path / "data"
    with CollectorProcess(data_dir, "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        assert is_answered(pty_pair, 1, 60.0)
        spoil(data_dir / DATABASE_NAME)
        pty_pair.send(good_frame(NODE, 2) + b"\n")
        ready(collector, 2)
        begun_anew(collector, pty_pair, 3)


@pytest.mark.parametrize("is_replaced", [False, True])
def test_a_database_taken_away_under_the_work_is_saved_and_nothing_acknowledged_is_lost(
    tmp_path: Path, pty_pair: PtyPair, is_replaced: bool
) -> None:
    database = tmp_path / "data" / DATABASE_NAME
    with CollectorProcess(tmp_path / "data", "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        assert is_answered(pty_pair, 1, 60.0)
        if is_replaced:
            with Store(tmp_path / "other.sqlite") as other:
                other.settings.put("whose", "another's")
            (tmp_path / "other.sqlite").rename(database)
        else:
            for part in database.parent.glob(f"{DATABASE_NAME}*"):
                part.unlink()
        pty_pair.send(good_frame(NODE, 2) + b"\n")
        ready(collector, 2)
        wait_until(lambda: "was deleted or replaced" in collector.log.read_text(), "its keeper is told")
        assert is_answered(pty_pair, 3, 60.0)
        with collector.open_store() as store:
            assert 3 in stored(store)
            assert store.settings.get("whose") == ("another's" if is_replaced else None)
        (saved,) = set_aside_before(database)
        assert f"backup restore {saved}" in collector.log.read_text()
        assert verified(saved).readings > 0
        with Store(saved) as store:
            assert 1 in stored(store)


@pytest.mark.parametrize("is_a_store", [True, False])
def test_a_database_overwritten_in_place_is_noticed_and_what_lies_there_now_is_left_whole(
    tmp_path: Path, pty_pair: PtyPair, is_a_store: bool
) -> None:
    database, other = tmp_path / "data" / DATABASE_NAME, tmp_path / "other.sqlite"
    if is_a_store:
        with Store(other) as store:
            store.settings.put("whose", "another's")
    else:
        other.write_bytes(b"neither bread nor a database\n" * 10_000)
    with CollectorProcess(tmp_path / "data", "--serial", str(pty_pair.path)) as collector:
        ready(collector)
        for seq in range(1, 21):
            assert is_answered(pty_pair, seq, 60.0)
        shutil.copyfile(other, database)  # as `cp` does: the same file, with other content
        pty_pair.send(good_frame(NODE, 21) + b"\n")
        ready(collector, 2)
        assert "was overwritten while it was at work" in collector.log.read_text()
        assert is_answered(pty_pair, 22, 60.0)
        wait_until(lambda: "could not be saved" in collector.log.read_text(), "its keeper is told")
        with collector.open_store() as store:
            assert store.settings.get("whose") == ("another's" if is_a_store else None)
            assert 22 in stored(store)
    assert damage_of(database) == ""


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as opened:
        opened.bind(str(tmp_path / "notify"))
        opened.settimeout(60.0)
        yield opened


def heard_of(manager: socket.socket) -> bytes:
    """The next message within its time-out; empty when none comes."""
    try:
        return manager.recv(1000)
    except TimeoutError:
        return b""


def test_the_watchdog_is_fed_from_the_loop_and_not_when_it_stands_still(tmp_path: Path, manager: socket.socket) -> None:
    environ = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "400000"}
    with CollectorProcess(tmp_path / "data", "--by-eye", **environ) as collector:
        heard = [manager.recv(1000) for _ in range(5)]
        assert heard[0] == b"READY=1\nSTATUS=at work"
        assert heard.count(b"WATCHDOG=1") >= 3
        assert collector.process is not None
        collector.process.send_signal(signal.SIGSTOP)  # as a loop that hangs
        manager.settimeout(2.0)
        wait_until(lambda: not heard_of(manager), "nothing comes any more")
        collector.process.send_signal(signal.SIGCONT)
        manager.settimeout(60.0)
        assert manager.recv(1000) == b"WATCHDOG=1"
        collector.process.terminate()
        while manager.recv(1000) != b"STOPPING=1":
            pass


def test_backups_and_metrics_beside_the_collector(tmp_path: Path) -> None:
    data_dir, stick = tmp_path / "data", tmp_path / "stick"
    stick.mkdir()
    data_dir.mkdir()
    port = free_port()
    settings = f"[upkeep]\nbackup_dir = {json.dumps(str(stick))}\nmetrics_port = {port}\n"
    (data_dir / "config.toml").write_text(settings)
    with CollectorProcess(data_dir, "--by-eye"):
        wait_until(lambda: any(each.suffix == ".sqlite" for each in stick.iterdir()), "a backup is made")
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics") as answer:
            assert b"proofing_loop_silent_seconds" in answer.read()
