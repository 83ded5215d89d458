"""A card that fails is made read-only by the system: what is on it can still be looked at, and taken elsewhere."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from harness import START, SmallDisk
from old_store import unpacked
from programs import run_program
from sample_bakery import fill
from streamlit.testing.v1 import AppTest

from monitor.archive.backup import back_up, backups_in, verified
from monitor.errors import StoreError
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store import heartbeat
from monitor.store.store import Store

LATER_NAME = "Begun at the very end"


def _board() -> None:
    import streamlit as st

    from dashboard.board import screen as board

    other = st.Page(lambda: None, title="b", url_path="b")
    st.navigation(
        [st.Page(lambda: board.show(other, other, other), title="a", url_path="a", default=True), other]
    ).run()


def without_log(folder: Path) -> None:
    """Nothing: the store was closed in order."""


def with_log(folder: Path) -> None:
    """The last batch stands only in the log, and nobody closed the store."""
    _leave_a_log(folder, ("", "-wal"))


def with_log_and_index(folder: Path) -> None:
    """The same as a crash leaves it."""
    _leave_a_log(folder, ("", "-wal", "-shm"))


def _leave_a_log(folder: Path, suffixes: tuple[str, ...]) -> None:
    aside = folder / "aside"
    aside.mkdir()
    with closing(sqlite3.connect(folder / DATABASE_NAME, isolation_level=None)) as connection:
        connection.execute("PRAGMA wal_autocheckpoint = 0")
        connection.execute("UPDATE batch SET name = ? WHERE id = 1", (LATER_NAME,))
        for suffix in suffixes:
            shutil.copyfile(folder / f"{DATABASE_NAME}{suffix}", aside / f"{DATABASE_NAME}{suffix}")
    for part in folder.glob(f"{DATABASE_NAME}*"):
        part.unlink()
    for part in aside.iterdir():
        part.rename(folder / part.name)
    aside.rmdir()


LEFT = pytest.mark.parametrize("leave", [without_log, with_log, with_log_and_index], ids=lambda each: each.__name__)


@pytest.fixture
def card(small_disk: SmallDisk, request: pytest.FixtureRequest) -> Path:
    """A bakery's morning on a file system that nobody can write."""
    small_disk.remount("size=64m")
    fill(small_disk.folder)
    request.getfixturevalue("leave")(small_disk.folder)
    small_disk.remount("ro")
    return small_disk.folder


@LEFT
def test_lists_exports_and_backups_come_from_a_card_that_cannot_be_written(card: Path, leave, tmp_path: Path) -> None:
    name = LATER_NAME if leave is not without_log else "Milk buns"
    for words in (["batch", "list"], ["alerts", "list"], ["plan", "list"], ["plan", "show"]):
        done = run_program(*words, "--data-dir", card)
        assert (done.returncode, done.stderr) == (0, ""), words
    assert name in run_program("batch", "list", "--data-dir", card).stdout
    done = run_program("batch", "export", "1", tmp_path / "out", "--data-dir", card)
    assert (done.returncode, done.stderr) == (0, "")
    assert name in (tmp_path / "out" / "BATCH.toml").read_text()
    elsewhere = tmp_path / "stick"
    elsewhere.mkdir()
    done = run_program("backup", "make", elsewhere, "--data-dir", card)
    assert (done.returncode, done.stderr) == (0, "")
    (made,) = backups_in(elsewhere)
    assert verified(made).has_checksum
    with closing(sqlite3.connect(made)) as connection:
        assert connection.execute("SELECT 1 FROM batch WHERE name = ?", (name,)).fetchone() is not None


@LEFT
def test_the_board_shows_what_is_on_it(card: Path, leave, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROOFING_DATA_DIR", str(card))
    app = AppTest.from_function(_board, default_timeout=60).run()
    assert not app.exception
    text = "\n".join(str(element.proto.body) for element in app.get("html"))
    assert (LATER_NAME if leave is not without_log else "Milk buns") in text
    assert "The store does not answer" not in text


@LEFT
def test_what_would_write_is_refused_in_words(card: Path, leave, tmp_path: Path) -> None:
    with Store(card / DATABASE_NAME) as store, pytest.raises(StoreError, match="let this user write"):
        heartbeat.beat(store)
    done = run_program("batch", "event", "1", "fold", "--data-dir", card)
    assert done.returncode == 2
    assert "let this user write the file and its folder" in done.stderr
    assert "Traceback" not in done.stderr
    done = run_program("collect", "--by-eye", "--data-dir", card)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "data directory" in run_program("check", "--data-dir", card).stdout


def test_a_store_of_an_older_version_there_says_what_to_do_and_can_be_backed_up(
    small_disk: SmallDisk, tmp_path: Path
) -> None:
    small_disk.remount("size=64m")
    database = unpacked(small_disk.folder / "data", "version_10", "en") / DATABASE_NAME
    small_disk.remount("ro")
    with pytest.raises(StoreError, match="cannot be brought up to date"):
        Store(database)
    assert verified(back_up(database, tmp_path, START)).batches > 0
