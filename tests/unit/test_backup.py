"""Backups: whole, of one moment, seldom doubled, never half; and brought back."""

import shutil
import sqlite3
import subprocess
import threading
from datetime import timedelta
from pathlib import Path

import pytest
from harness import START, SetClock, wait_until
from made_up import batch_of, readings_of

from monitor.alerts.troubles import BackupFails
from monitor.archive.backup import back_up, backups_in, checksum_of, restore, verified
from monitor.archive.nightly import Nightly
from monitor.cli import main
from monitor.errors import StoreError, StoreFault
from monitor.settings.data_dir import DATABASE_NAME
from monitor.settings.upkeep import Upkeep
from monitor.store.collector_lock import hold_collector_lock
from monitor.store.store import Store

BATCH = batch_of("Hazel loaf", hours=3.0)
READINGS = readings_of(BATCH)


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    with Store(tmp_path / DATABASE_NAME) as store:
        store.batches.add(BATCH)
        store.readings.add(READINGS)
    return tmp_path


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def test_nobody_else_can_read_a_backup_or_what_is_brought_back(data_dir: Path, stick: Path) -> None:
    made = back_up(data_dir / DATABASE_NAME, stick, START)
    assert made.stat().st_mode & 0o777 == 0o600
    made.chmod(0o644)
    restore(made, data_dir / DATABASE_NAME, START)
    assert (data_dir / DATABASE_NAME).stat().st_mode & 0o777 == 0o600


def test_a_backup_holds_one_moment_while_somebody_writes(data_dir: Path, stick: Path) -> None:
    is_over = threading.Event()
    wrote = []

    def write() -> None:
        with Store(data_dir / DATABASE_NAME) as store:
            while not is_over.is_set():
                day = len(wrote) + 1
                store.readings.add(readings_of(batch_of("Rye", day=day), hours=0.1))
                wrote.append(day)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        wait_until(lambda: len(wrote) > 2, "somebody writes")
        told: list[tuple[int, int]] = []
        made = back_up(data_dir / DATABASE_NAME, stick, START, progress=lambda *at: told.append(at))
    finally:
        is_over.set()
        writer.join()
    found = verified(made)
    assert found.batches == 1
    assert (found.readings - len(READINGS)) % 21 == 0  # of transactions of 21 readings each, none is torn
    assert told[-1][0] == told[-1][1] > 0
    name = "proofing-20260302T054000Z.sqlite"
    assert {each.name for each in stick.iterdir()} == {name, f"{name}.sha256"}


def test_of_many_backups_the_newest_stay(data_dir: Path, stick: Path) -> None:
    (stick / "holiday.jpg").write_bytes(b"")
    made = [back_up(data_dir / DATABASE_NAME, stick, START + timedelta(days=day), keep=3) for day in range(5)]
    assert backups_in(stick) == made[:1:-1]
    assert len(list(stick.glob("*.sha256"))) == 3
    assert (stick / "holiday.jpg").exists()


def test_a_damaged_backup_is_told_from_a_whole_one(data_dir: Path, stick: Path) -> None:
    made = back_up(data_dir / DATABASE_NAME, stick, START)
    data = bytearray(made.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 4096] = bytes(4096)
    made.write_bytes(data)
    with pytest.raises(StoreError, match=r"take an older backup|is no backup"):
        verified(made)
    made.write_text("flour, water, salt\n" * 100)
    checksum_of(made).unlink()
    with pytest.raises(StoreError, match="is no backup that can be used"):
        verified(made)
    with pytest.raises(StoreError):
        restore(made, data_dir / DATABASE_NAME, START)
    assert verified(back_up(data_dir / DATABASE_NAME, stick, START + timedelta(days=1))).readings == len(READINGS)


def test_a_figure_that_changed_in_a_backup_is_noticed(data_dir: Path, stick: Path, tmp_path: Path) -> None:
    """SQLite finds such a file whole: every page is as it should be, only one name is another."""
    made = back_up(data_dir / DATABASE_NAME, stick, START)
    data = made.read_bytes()
    made.write_bytes(data.replace(b"Hazel loaf", b"Hazel boaf"))
    with pytest.raises(StoreError, match="is not as it was written, its checksum differs; take an older backup"):
        restore(made, data_dir / DATABASE_NAME, START)
    with Store(data_dir / DATABASE_NAME) as store:
        assert [each.name for each in store.batches.all()] == ["Hazel loaf"]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="this system has no sha256sum")
def test_the_checksum_is_one_that_other_programs_read(data_dir: Path, stick: Path) -> None:
    made = back_up(data_dir / DATABASE_NAME, stick, START)
    assert subprocess.run(["sha256sum", "--check", checksum_of(made)], cwd=stick, check=False).returncode == 0


def test_a_backup_without_a_checksum_says_so(data_dir: Path, stick: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = back_up(data_dir / DATABASE_NAME, stick, START)
    verify = ["backup", "verify", *map(str, stick.iterdir()), "--data-dir", str(data_dir)]
    assert main(verify) == 0
    assert "no checksum" not in capsys.readouterr().out
    checksum_of(made).unlink()
    assert main(["backup", "verify", str(made), "--data-dir", str(data_dir)]) == 0
    assert "no checksum lies beside it" in capsys.readouterr().out


def test_a_restore_brings_everything_back_and_deletes_nothing(
    data_dir: Path, stick: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ["--data-dir", str(data_dir)]
    assert main(["backup", "make", str(stick), *where]) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        store.batches.add(batch_of("begun after the backup"))
    assert main(["backup", "verify", str(backups_in(stick)[0]), *where]) == 0
    assert f"1 batch, {len(READINGS)} readings" in capsys.readouterr().out
    restoring = ["backup", "restore", str(backups_in(stick)[0]), *where]
    assert main(restoring) == 2
    assert "Say --yes" in capsys.readouterr().err
    with hold_collector_lock(data_dir):
        assert main([*restoring, "--yes"]) == 2
    assert "a collector is at work" in capsys.readouterr().err
    assert main([*restoring, "--yes"]) == 0
    with Store(data_dir / DATABASE_NAME) as store:
        assert [batch.name for batch in store.batches.all()] == [BATCH.name]
        assert len(store.readings.of(store.batches.all()[0])) == len(READINGS)
    (replaced,) = (each for each in data_dir.glob("*.replaced-*") if each.suffix not in ("-wal", "-shm"))
    connection = sqlite3.connect(replaced)
    assert connection.execute("SELECT count(*) FROM batch").fetchone() == (2,)
    connection.close()


@pytest.fixture
def nightly(data_dir: Path, stick: Path, clock: SetClock) -> Nightly:
    return Nightly(data_dir / DATABASE_NAME, stick, Upkeep(backup_dir=stick, backups_kept=2), clock)


def test_a_backup_a_day_and_a_drive_that_is_gone(nightly: Nightly, stick: Path, clock: SetClock) -> None:
    for _ in range(30):
        nightly.look()
        clock.advance(hours=1)
    assert len(backups_in(stick)) == 2
    held = stick.rename(stick.with_name("pulled out"))
    nightly.look()
    (symptom,) = nightly.troubles()
    assert symptom.trouble == BackupFails(StoreFault.NO_FOLDER, str(stick), "")
    assert not stick.exists(), "no backup goes onto the disk under a drive that is not there"
    held.rename(stick)
    clock.advance(hours=25)
    nightly.look()
    assert not list(nightly.troubles())
    assert len(backups_in(stick)) == 2
